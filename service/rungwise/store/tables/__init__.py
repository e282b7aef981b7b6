"""Every table. Instants are UTC; dates are the client's local dates; lengths are mm.

An `id` is None until the row is flushed; it is typed as the int that it is from then on.
"""

from rungwise.store.tables.accounts import (
    AccountLink,
    OrganisationSignIn,
    Passkey,
    PasskeyChallenge,
    RecoveryCode,
    SignIn,
    SignInFailure,
    Trainer,
)
from rungwise.store.tables.alerts import Alert, AlertMessage, AlertPage, Duty, WatchNotice
from rungwise.store.tables.api import ApiAct, ApiToken, Change, ChangeFeed, Webhook, WebhookCall
from rungwise.store.tables.carriers import CarrierState, Circuit, EarlyReceipt, InboundPart
from rungwise.store.tables.clients import Client, ClientNote, Placement, PlanRow
from rungwise.store.tables.comparisons import ComparedClient, ComparisonRow
from rungwise.store.tables.days import MoveRow, Question, Report
from rungwise.store.tables.groups import ClientTag, GroupAct, GroupActClient, SavedView, Tag
from rungwise.store.tables.incidents import ClinicianWord, FallCheck, Incident
from rungwise.store.tables.intake import Baseline, HomeSetup, PictureLink, Screening, TrainersWords
from rungwise.store.tables.practice import ClinicianReview, Number, OwnWording, Practice
from rungwise.store.tables.reviews import (
    CourseLine,
    Fall,
    HomeVisit,
    Retest,
    ReviewRhythm,
    TrainerFeed,
)
from rungwise.store.tables.service import Audit, AuditHead, DaySeal, DemoClock, Due, LastTick
from rungwise.store.tables.strangers import ClientPhone, Stranger, StrangerText
from rungwise.store.tables.texts import BEING_SENT, QUEUED, Message
from rungwise.store.tables.types import UtcDateTime

__all__ = [
    "BEING_SENT",
    "QUEUED",
    "AccountLink",
    "Alert",
    "AlertMessage",
    "AlertPage",
    "ApiAct",
    "ApiToken",
    "Audit",
    "AuditHead",
    "Baseline",
    "CarrierState",
    "Change",
    "ChangeFeed",
    "Circuit",
    "Client",
    "ClientNote",
    "ClientPhone",
    "ClientTag",
    "ClinicianReview",
    "ClinicianWord",
    "ComparedClient",
    "ComparisonRow",
    "CourseLine",
    "DaySeal",
    "DemoClock",
    "Due",
    "Duty",
    "EarlyReceipt",
    "Fall",
    "FallCheck",
    "GroupAct",
    "GroupActClient",
    "HomeSetup",
    "HomeVisit",
    "InboundPart",
    "Incident",
    "LastTick",
    "Message",
    "MoveRow",
    "Number",
    "OrganisationSignIn",
    "OwnWording",
    "Passkey",
    "PasskeyChallenge",
    "PictureLink",
    "Placement",
    "PlanRow",
    "Practice",
    "Question",
    "RecoveryCode",
    "Report",
    "Retest",
    "ReviewRhythm",
    "SavedView",
    "Screening",
    "SignIn",
    "SignInFailure",
    "Stranger",
    "StrangerText",
    "Tag",
    "Trainer",
    "TrainerFeed",
    "TrainersWords",
    "UtcDateTime",
    "WatchNotice",
    "Webhook",
    "WebhookCall",
]
