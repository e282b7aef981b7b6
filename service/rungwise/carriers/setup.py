"""The carriers that the settings ask for. The handset is always among them."""

import secrets

from rungwise.carriers.base import Carrier
from rungwise.carriers.cloud import Cloud, CloudAccess
from rungwise.carriers.email import Mail, mail_server
from rungwise.carriers.handset import Handset
from rungwise.carriers.kannel import Kannel, KannelAccess
from rungwise.carriers.wire import http_client
from rungwise.settings import Settings


def carriers_from(settings: Settings) -> dict[str, Carrier]:
    """Every configured carrier by its name. The settings were checked when they were read."""
    # With a token nobody knows, the handset only takes what its page sends for a signed-in trainer.
    token = settings.handset_token or secrets.token_urlsafe(24)
    carriers: dict[str, Carrier] = {"handset": Handset(token)}
    kannel = kannel_access(settings)
    if kannel is not None:
        # Kannel stands beside us or in our own network, so no proxy of the machine applies.
        carriers["kannel"] = Kannel(kannel, http_client(through_proxy=False))
    cloud = cloud_access(settings)
    if cloud is not None:
        carriers["cloud"] = Cloud(cloud, http_client(auth=(cloud.account, cloud.secret)))
    server = mail_server(settings)
    if server is not None:
        mail = Mail(server, settings.public_url)
        carriers[mail.name] = mail
    return carriers


def kannel_access(settings: Settings) -> KannelAccess | None:
    """How to reach Kannel and be reached by it; None when it is not set up."""
    url, username = settings.kannel_url, settings.kannel_username
    password, token = settings.kannel_password, settings.kannel_token
    if url is None or username is None or password is None or token is None:
        return None
    callback_url = settings.kannel_callback_url or settings.public_url
    return KannelAccess(url, username, password, token, callback_url)


def cloud_access(settings: Settings) -> CloudAccess | None:
    """How to reach the cloud service and know its callbacks; None when it is not set up."""
    url, account, secret = settings.cloud_url, settings.cloud_account, settings.cloud_secret
    if url is None or account is None or secret is None:
        return None
    return CloudAccess(url, account, secret, settings.public_url, settings.cloud_signature_header)
