"""Files that a checkout keeps beside the package and a wheel carries inside it."""

from pathlib import Path

PACKAGE = Path(__file__).parent


def shipped(in_wheel: str, in_checkout: str) -> Path:
    """The path of what stands at `in_wheel` below the package, or at `in_checkout` of a checkout.

    pyproject.toml says what a wheel carries, and where.
    """
    packed = PACKAGE / in_wheel
    return packed if packed.exists() else PACKAGE.parents[1] / in_checkout
