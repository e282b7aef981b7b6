"""Certificates for tests, which nobody but their holder has signed."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec


def write_certificate(folder: Path, common_name: str, holder: x509.GeneralName) -> Path:
    """A file with a certificate for `holder` and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, common_name)])
    now = datetime.now(UTC)
    signed = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([holder]), False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), True)
        .sign(key, hashes.SHA256())
    )
    plain = serialization.NoEncryption()
    kind = serialization.PrivateFormat.PKCS8
    file = folder / "both.pem"
    file.write_bytes(
        signed.public_bytes(serialization.Encoding.PEM)
        + key.private_bytes(serialization.Encoding.PEM, kind, plain)
    )
    return file
