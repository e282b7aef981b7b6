"""`rungwise research`: the tables keep to their codebook, and tell nobody's name."""

import csv
import hashlib
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from pyarrow.parquet import read_table
from stored_practice import lives, store_clients, store_practice

from rungwise.cli import main
from rungwise.coach.data.research_tables import TABLES
from rungwise.evidence.rates import small_cell
from rungwise.store import Store
from rungwise.store.tables import Client

Rows = Mapping[str, Sequence[Mapping[str, str]]]


@pytest.fixture
def names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    address = f"sqlite:///{tmp_path / 'here.sqlite3'}"
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", address)
    assert main(["migrate"]) == 0
    store = Store(address)
    with store.write() as session:
        trainer = store_practice(session)
    ids = store_clients(store, trainer, lives(2, 30), 6)
    with store.read() as session:
        found = [session.get_one(Client, one).name for one in ids]
    store.close()
    return found


def exported(folder: Path, *more: str) -> Rows:
    assert main(["research", str(folder), *more]) == 0
    found = {}
    for file in folder.glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as rows:
            found[file.stem] = list(csv.DictReader(rows))
    return found


def fits(kind: str, values: str, cell: str) -> bool:
    if values and cell not in values.split():
        return False
    if kind == "yes_no":
        return cell in ("yes", "no")
    if kind in ("whole", "number"):
        return float(cell) == int(float(cell)) or kind == "number"
    return kind == "text"


def test_every_cell_keeps_to_the_codebook(names: list[str], tmp_path: Path) -> None:
    found = exported(tmp_path / "study")
    assert set(found) == {*TABLES, "codebook", "missing", "groups"}
    book = {(row["table"], row["column"]): row for row in found["codebook"]}
    assert len(book) == sum(len(columns) for columns in TABLES.values())
    for table in TABLES:
        for row in found[table]:
            for column, cell in row.items():
                told = book[table, column]
                assert cell == "" or fits(told["kind"], told["values"], cell), (table, column, cell)
    assert all(row["what"] and row["source"] for row in found["codebook"])
    assert len(found["clients"]) == len(names)
    decided = [row for row in found["moves"] if row["rule"] != "trainer"]
    days = {(row["client"], row["day"]) for row in found["days"]}
    assert len(days) > 40
    assert days >= {(row["client"], row["day"]) for row in decided}
    assert {row["client"] for row in found["days"]} <= {row["client"] for row in found["clients"]}


def test_nobody_can_be_told_from_it(names: list[str], tmp_path: Path) -> None:
    exported(tmp_path / "study")
    whole = "".join(file.read_text() for file in (tmp_path / "study").iterdir())
    assert not [name for name in names if name in whole]
    assert "+1" not in whole
    assert "2025-" not in whole


def test_what_is_missing_is_counted_by_hand(names: list[str], tmp_path: Path) -> None:
    found = exported(tmp_path / "study")
    for row in found["missing"]:
        cells = [one[row["column"]] for one in found[row["table"]]]
        assert (int(row["rows"]), int(row["missing"])) == (len(cells), cells.count(""))


def test_pseudonyms_and_hash_are_the_keys(
    names: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    key = tmp_path / "key"
    key.write_bytes(b"a secret of thirty-two characters")
    for place in ("one", "two"):
        exported(tmp_path / place, "--key-file", str(key))
    exported(tmp_path / "other")
    lines = [line for line in capsys.readouterr().out.splitlines() if "SHA-256" in line]
    hashes = [line.rsplit(" ", 1)[1] for line in lines]
    assert hashes[0] == hashes[1] != hashes[2]
    by_hand = hashlib.sha256()
    for name in sorted(TABLES):
        by_hand.update((tmp_path / "one" / f"{name}.csv").read_bytes())
    assert by_hand.hexdigest() == hashes[0]
    sums = (tmp_path / "one/SHA256SUMS").read_text().splitlines()
    for line in sums:
        told, name = line.split("  ")
        assert hashlib.sha256((tmp_path / "one" / name).read_bytes()).hexdigest() == told


def test_parquet_holds_the_same_with_types_and_codebook(names: list[str], tmp_path: Path) -> None:
    key = tmp_path / "key"
    key.write_bytes(b"a secret of thirty-two characters")
    found = exported(tmp_path / "one", "--parquet", "--key-file", str(key))
    exported(tmp_path / "two", "--parquet", "--key-file", str(key))
    for table, columns in TABLES.items():
        file = tmp_path / "one" / f"{table}.parquet"
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes()
        read = read_table(file)
        assert read.column_names == [one.name for one in columns]
        for column in columns:
            about = read.schema.field(column.name).metadata
            assert about[b"what"].decode() == column.what
            cells = [row[column.name] for row in found[table]]
            values = read.column(column.name).to_pylist()
            assert [as_cell(value) for value in values] == [number(cell) for cell in cells]
    sums = (tmp_path / "one/SHA256SUMS").read_text()
    assert "sessions.parquet" in sums


def as_cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value


def number(cell: str) -> object:
    try:
        return float(cell)
    except ValueError:
        return cell


def test_without_what_writes_it_parquet_is_refused(
    names: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    assert main(["research", str(tmp_path / "study"), "--parquet"]) == 2
    assert "pip install" in capsys.readouterr().err
    assert not (tmp_path / "study").exists()


def test_few_people_are_not_counted_out(names: list[str], tmp_path: Path) -> None:
    assert [small_cell(count) for count in (0, 1, 4, 5, 12)] == ["0", "<5", "<5", "5", "12"]
    (group,) = exported(tmp_path / "study")["groups"]
    assert group["clients"] == "6"
    assert group["repeat_fallers"] in ("0", "<5")


def test_a_folder_with_something_in_it_is_left_alone(names: list[str], tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full/kept").write_text("here")
    assert main(["research", str(tmp_path / "full")]) == 2
    assert [file.name for file in (tmp_path / "full").iterdir()] == ["kept"]
    short = tmp_path / "short"
    short.write_bytes(b"short")
    assert main(["research", str(tmp_path / "new"), "--key-file", str(short)]) == 2
    assert main(["research", str(tmp_path / "new"), "--key-file", str(tmp_path / "none")]) == 2
