"""`rungwise simulate`: virtual clients through the decision rule, as table, JSON and picture."""

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TextIO

from tqdm import tqdm

from rungwise.commands.ladder import read_profile
from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import GATES, Body, Equipment, Profile
from rungwise.ladder.build import build_ladder
from rungwise.ladder.caution import PRESETS, Caution, published_rule, trial
from rungwise.ladder.moves import NEWEST_RULE, RULE_VERSIONS, Plan
from rungwise.ladder.rungs import Ladder
from rungwise.ladder.simulate import STILL, VirtualClient, World, even_ladder, run_clients
from rungwise.ladder.staircase import chain
from rungwise.ladder.tally import Summary, summarise

# A woman's foot and hip of about average size (ANSUR II, from memory), with every surface.
USUAL_PROFILE = Profile(
    Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=175),
    Equipment(mat_layers=8, half_foam_whole=True, half_foam_cut=True),
)
RULE_OPTIONS = {
    "steady_days_step": "steady days running before a step up",
    "steady_days_landmark": "steady days running before leaving a landmark",
    "back_days": "wobbly or short days before a step back",
    "back_window_days": "the last days among which those are counted",
    "back_steps": "rungs in a step back",
    "far_short_share": "a hold under this share of the target goes back to the landmark below",
    "least_chance": "the second opinion's least chance for a move up; 0 leaves it out",
}
WORLD_HELP = {
    "spread": "width of the success curve in logits",
    "start_place": "ability at the start, as a share of the ladder's difficulty range",
    "start_sd": "how much clients differ at the start, logits",
    "start_chance": "the first rung is held with about this chance",
    "side_gap": "how much the sides differ, logits",
    "practice_gain": "ability gained a practised day, logits",
    "most_gain": "most ability that practice can bring, logits",
    "lay_off_loss": "ability lost a day off, logits",
    "bad_day_chance": "share of bad days",
    "bad_day_drop": "ability missing on a bad day, logits",
    "missed_chance": "share of days missed",
    "away_chance": "chance a day of going away for 4 to 17 days",
    "told_better": "share of failed holds told as steady",
    "told_worse": "share of steady holds told as wobbly",
    "short_share": "share of failed holds that are short of the target",
    "far_short_share": "share of failed holds that are far short (failed-far-short-share)",
    "trainer_days": "days until the trainer has answered an alert",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    rule = parser.add_argument_group("settings to try (default: the three presets)")
    rule.add_argument("--preset", action="append", choices=sorted(PRESETS), help="may be repeated")
    rule.add_argument(
        "--published",
        type=int,
        nargs="+",
        metavar="N",
        help="also the plain rule of the literature: up after N steady days, back after a failure",
    )
    for name, words in RULE_OPTIONS.items():
        kind = float if name in ("far_short_share", "least_chance") else int
        rule.add_argument(_option(name), type=kind, metavar="X", help=words)
    world = parser.add_argument_group("what the virtual clients are like")
    world.add_argument(
        "--still",
        action="store_true",
        help="ability stands still, every day is practised and told truly",
    )
    usual = World()
    for name, words in WORLD_HELP.items():
        option = "--failed-far-short-share" if name == "far_short_share" else _option(name)
        kind = int if name == "trainer_days" else float
        shown = f"{words} ({getattr(usual, name):g})"
        world.add_argument(option, type=kind, metavar="X", dest=f"world_{name}", help=shown)
    ladder = parser.add_argument_group("the ladder")
    ladder.add_argument("--profile", metavar="FILE", help="a client's profile (docs/ladder.md)")
    ladder.add_argument(
        "--spacing", type=float, metavar="LOGITS", help="an invented ladder of even rungs instead"
    )
    ladder.add_argument("--rungs", type=int, default=200, help="how many even rungs (200)")
    driven = parser.add_argument_group(
        "driving one client from outside (docs/rule.md; also --preset and --profile)"
    )
    driven.add_argument(
        "--drive", action="store_true", help="write a JSON line a session and read what was told"
    )
    driven.add_argument(
        "--rule",
        type=int,
        choices=RULE_VERSIONS,
        default=NEWEST_RULE,
        help="the rule's version (2)",
    )
    driven.add_argument("--start", metavar="KEY", help="the first rung (the lowest)")
    driven.add_argument(
        "--days-a-week", type=int, choices=range(1, 8), default=3, help="planned sessions (3)"
    )
    driven.add_argument("--open-gates", action="store_true", help="every gate is open")
    run_group = parser.add_argument_group("the run")
    run_group.add_argument("--days", type=int, default=365, help="days a client (365)")
    run_group.add_argument("--clients", type=int, default=100, help="clients a setting (100)")
    run_group.add_argument("--seed", type=int, default=1, help="of the random numbers (1)")
    run_group.add_argument("--json", action="store_true", help="print one JSON object")
    run_group.add_argument("--picture", metavar="FILE", help="also draw FILE, .svg or .png")


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def run(args: argparse.Namespace) -> int:
    if args.drive:
        return _drive(args)
    for name, high in (("days", 100_000), ("clients", 100_000), ("rungs", 2_000)):
        if not 2 <= getattr(args, name) <= high and not (name == "clients" and args.clients == 1):
            raise ImpossibleValue(name, getattr(args, name), f"a whole number from 2 to {high}")
    if args.seed < 0:
        raise ImpossibleValue("seed", args.seed, "a whole number from 0")
    if args.picture and Path(args.picture).suffix not in (".svg", ".png"):
        raise ImpossibleValue("picture", args.picture, "a file name ending in .svg or .png")
    ladder, world, settings = ladder_of(args), world_of(args), settings_of(args)
    total = len(settings) * args.clients * args.days
    summaries = []
    with tqdm(total=total, unit="day", unit_scale=True, disable=None, file=sys.stderr) as bar:
        for caution in settings:
            plan = Plan(caution=caution)
            tally = run_clients(
                ladder,
                plan,
                world,
                days=args.days,
                clients=args.clients,
                seed=args.seed,
                progress=bar.update,
            )
            exact = exact_share(ladder, plan, world) if args.still else None
            summaries.append(summarise(caution.name, tally, exact))
    if args.json:
        print(json.dumps({"settings": [s.to_json() for s in summaries]}, indent=2))
    else:
        print_tables(summaries, sys.stdout)
    if args.picture:
        draw(summaries, Path(args.picture))
    return 0


def _drive(args: argparse.Namespace) -> int:
    # Loaded here: it brings the service's own decision, which other runs don't need.
    from rungwise.commands.simulate_drive import WEEKDAYS, drive  # noqa: PLC0415

    plan = Plan(
        caution=PRESETS[args.preset[-1] if args.preset else "usual"],
        open_gates=frozenset(GATES) if args.open_gates else frozenset(),
        rule_version=args.rule,
        weekdays=WEEKDAYS[args.days_a_week],
    )
    drive(ladder_of(args), plan, args.start, iter(sys.stdin.readline, ""), sys.stdout)
    return 0


def draw(summaries: list[Summary], file: Path) -> None:
    # Loaded here: drawing takes a second to load, and most runs don't draw.
    from rungwise.commands.simulate_picture import save_picture  # noqa: PLC0415

    save_picture(summaries, file)


def exact_share(ladder: Ladder, plan: Plan, world: World) -> float:
    """The rule's long-run share of steady days, calculated, for a client who stands still."""
    import numpy as np  # noqa: PLC0415

    client = VirtualClient(ladder, plan, world, np.random.default_rng(0))
    chances = [client.true_chance(rung) for rung in ladder.rungs]
    return chain(ladder, plan, chances, world.far_short_share).level


def ladder_of(args: argparse.Namespace) -> Ladder:
    if args.spacing is not None:
        if not 0.001 <= args.spacing <= 10:
            raise ImpossibleValue("spacing", args.spacing, "a number of logits from 0.001 to 10")
        return even_ladder(args.rungs, args.spacing)
    profile = read_profile(args.profile) if args.profile else USUAL_PROFILE
    return build_ladder(profile.body, profile.equipment, profile.limits, profile.narrowing)


def world_of(args: argparse.Namespace) -> World:
    chosen = {
        name: getattr(args, f"world_{name}")
        for name in WORLD_HELP
        if getattr(args, f"world_{name}") is not None
    }
    return replace(STILL if args.still else World(), **chosen)


def settings_of(args: argparse.Namespace) -> list[Caution]:
    """The presets asked for, a preset with changes if any are given, and published rules."""
    changes = {n: getattr(args, n) for n in RULE_OPTIONS if getattr(args, n) is not None}
    if changes.get("least_chance") == 0:
        changes["least_chance"] = None
    presets = args.preset or ([] if args.published and not changes else list(PRESETS))
    if changes:
        base = PRESETS[args.preset[0] if args.preset else "usual"]
        return [trial(base, name=f"{base.name}, changed", **changes), *_published(args)]
    return [*(PRESETS[name] for name in presets), *_published(args)]


def _published(args: argparse.Namespace) -> list[Caution]:
    steps = args.back_steps or 1
    return [published_rule(days, steps) for days in args.published or ()]


def print_tables(summaries: list[Summary], out: TextIO) -> None:
    """Two tables for people: what each setting costs, and how long each landmark takes."""
    exact = any(s.exact_steady_share is not None for s in summaries)
    head = ["setting", "steady days", *(["calculated"] if exact else []), "wobbly days a month"]
    head += [
        "risky moves a year",
        "of the ups",
        "ups a year",
        "backs a year",
        "stuck alerts a year",
    ]
    head += ["held back by the second opinion a year"]
    rows = [head]
    for s in summaries:
        share = "" if s.exact_steady_share is None else f"{s.exact_steady_share:.1%}"
        rows.append(
            [
                s.setting,
                f"{s.chance_share:.1%}",
                *([share] if exact else []),
                f"{s.wobbly_days_month:.1f}",
                f"{s.risky_moves_year:.2f}",
                f"{s.risky_share_of_ups:.1%}",
                f"{s.ups_year:.1f}",
                f"{s.backs_year:.1f}",
                f"{s.stuck_alerts_year:.1f}",
                f"{s.held_by_opinion_year:.1f}",
            ]
        )
    _print_across(rows, out)
    labels = list(dict.fromkeys(label for s in summaries for label in s.landmarks))
    reached = [label for label in labels if any(s.landmarks[label].reached for s in summaries)]
    if not reached:
        return
    out.write("\nDays to each landmark: median (10th to 90th percentile), how many got there\n")
    rows = [["landmark", *(s.setting for s in summaries)]]
    rows += [[label, *(_days(s, label) for s in summaries)] for label in reached]
    _print_columns(rows, out)


def _days(summary: Summary, label: str) -> str:
    found = summary.landmarks[label]
    if found.days_median is None:
        return f"nobody of {found.began_below}"
    spread = f"({found.days_10th:.0f} to {found.days_90th:.0f})"
    return f"{found.days_median:.0f} {spread}, {found.reached} of {found.began_below}"


def _print_across(rows: list[list[str]], out: TextIO) -> None:
    """The settings side by side, one figure a line: fits a narrow screen."""
    _print_columns([list(line) for line in zip(*rows, strict=True)], out)


def _print_columns(rows: list[list[str]], out: TextIO) -> None:
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    for row in rows:
        cells = [row[0].ljust(widths[0])]
        cells += [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        out.write("  ".join(cells).rstrip() + "\n")
