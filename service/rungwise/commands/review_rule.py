"""`rungwise review-rule`: what other settings would have made of the stored reports."""

import argparse
import json
import sys
from dataclasses import asdict

from tqdm import tqdm

from rungwise.coach.rule.rule_review import (
    RuleChange,
    RuleReview,
    clients_to_review,
    review_rule,
)
from rungwise.coach.rule.rule_trial import TrialSettings
from rungwise.errors import NotFound
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, WHOLE_DAYS
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store.moving.migrate import check_current

HELP = {
    "steady_days_step": "steady days running before a step up",
    "steady_days_landmark": "steady days running before leaving a landmark",
    "back_days": "wobbly or short days before a step back",
    "back_window_days": "the last days among which those are counted",
    "back_steps": "rungs in a step back",
    "far_short_share": "a hold under this share of the target goes back to the landmark below",
    "stuck_backs": "backs from one rung that hold moves up",
    "stuck_window_days": "the days in which those are counted",
    "away_back_days": "days away before going back a landmark",
    "away_rest_days": "days away before resting",
    "least_chance": "the second opinion's least chance for a move up; 0 leaves it out",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    parser.add_argument("--client", type=int, metavar="ID", help="only this client")
    parser.add_argument(
        "--preset", choices=sorted(PRESETS), help="in place of each client's own settings"
    )
    for name, (low, high) in SAFE_BOUNDS.items():
        kind = int if name in WHOLE_DAYS else float
        option = f"--{name.replace('_', '-')}"
        shown = f"{HELP[name]} ({low:g} to {high:g})"
        parser.add_argument(option, type=kind, metavar="X", help=shown)
    parser.add_argument("--days", action="store_true", help="also a line for each day that differs")
    parser.add_argument(
        "--json", action="store_true", help="a JSON line for each day that differs, then the sum"
    )


def run(options: argparse.Namespace) -> int:
    trial = TrialSettings(options.preset, _changes(options))
    settings = Settings.from_environment()
    if options.database:
        settings = settings.model_copy(update={"database_url": options.database})
    store = assemble(settings).store
    check_current(store)
    with store.read() as session:
        ids = clients_to_review(session, None, options.client)
    if options.client is not None and not ids:
        raise NotFound(f"There is no client {options.client}. `rungwise client list` has them all.")
    total = RuleReview()
    with tqdm(total=len(ids), unit="client", file=sys.stderr, disable=None, leave=False) as bar:
        for one in review_rule(store, ids, trial):
            total.add(one)
            bar.update()
            if options.days or options.json:
                for change in one.changes:
                    _print_change(change, as_json=options.json)
    store.close()
    _print_sum(total, trial, as_json=options.json)
    return 0


def _changes(options: argparse.Namespace) -> dict[str, int | float | None]:
    given = {name: getattr(options, name) for name in SAFE_BOUNDS}
    changes = {name: value for name, value in given.items() if value is not None}
    if changes.get("least_chance") == 0:
        changes["least_chance"] = None
    return changes


def _print_change(change: RuleChange, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({**asdict(change), "day": change.day.isoformat()}, ensure_ascii=False))
        return
    print(
        f"{change.day}  client {change.client_id:<5} {change.was:>7} -> {change.would:<7} "
        f"{change.would_to}  {change.because}"
    )


def _print_sum(total: RuleReview, trial: TrialSettings, *, as_json: bool) -> None:
    if as_json:
        summed = {
            "settings": trial.name,
            "clients": total.clients,
            "decided": dict(total.decided),
            "changed": {f"{was} -> {would}": n for (was, would), n in total.changed.items()},
            "waited_then_back": total.waited_then_back,
            "ups_then_back": total.ups_then_back,
        }
        print(json.dumps({"sum": summed}))
        return
    print(f"{total.decisions:,} decisions of {total.clients:,} clients; nothing was changed.")
    for line in total.sentences(trial.name):
        print(line)
