"""The trail of a tuning, and a job's limits as a draft file: from typed talk to table, drawing and file."""

from __future__ import annotations

import json
import re
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from front.report import made_report
from jobs.book import job_of, sheet_of
from jobs.decisions import leave_out, stop_dealt_with
from jobs.findings import check_job, trails_of
from jobs.journal import Checked
from jobs.report_files import html_of
from jobs.stops import undealt
from jobs.store import Store, home_folder
from jobs.trail import Trail, TrailMove, amount_words, change_words, trail_of
from jobs.trail_plot import trail_svg
from schemas.appliance import ApplianceLimit, ScrewEffect
from schemas.doubts import Doubt, DoubtKind
from schemas.findings import Limit, LimitOrigin
from schemas.load import load_appliance, load_sheet

pytestmark = pytest.mark.slow

Command = Callable[..., tuple[int, str, str]]
SHEET, _ = load_sheet("gas-boiler-start-up")
FILE, _ = load_appliance("orrinvale-ov-240c")

TALK = (
    "High fire now. CO2 is eight point three, O2 six point one, CO forty-one.",
    "Quarter turn clockwise on the high-fire screw.",
    "CO2 is eight point eight, O2 five point two, CO fifty-five.",
    "Another quarter turn clockwise on the high-fire screw.",
    "CO2 is nine point four, O2 four point one, CO ninety-eight.",
    "An eighth of a turn counterclockwise on the high-fire screw.",
    "CO2 is nine point two, O2 four point five, CO seventy-four.",
)


@pytest.fixture
def tuned(sayback: Command) -> str:
    """A job in which the high-fire screw was turned three times."""
    where = ("--site", "Tarn End Laundry", "--technician", "Iver Salt", "--number", "t2")
    assert sayback("new", *where, "--appliance", "boiler; orrinvale-ov-240c")[0] == 0
    assert sayback("add", "t2", *(part for line in TALK for part in ("--text", line)))[0] in (0, 1)
    return "t2"


def trail(tmp_path: Path) -> Trail:
    with Store(tmp_path / "store") as store:
        job = job_of(store, "t2")
        (one,) = trails_of(store, job, sheet_of(store, job.head))
        return one


def test_each_turn_has_what_was_read_before_and_after_it(tuned: str, tmp_path: Path) -> None:
    moves = trail(tmp_path).moves
    assert [(m.turns, m.way) for m in moves] == [
        (Decimal("0.25"), "clockwise"),
        (Decimal("0.25"), "clockwise"),
        (Decimal("0.125"), "counterclockwise"),
    ]
    co2 = [next(c for c in m.changes if c.quantity == "co2") for m in moves]
    assert [(c.before.value, c.after.value) for c in co2 if c.before and c.after] == [
        ("8.3", "8.8"),
        ("8.8", "9.4"),
        ("9.4", "9.2"),
    ]
    # 0.5 in a quarter turn are 2.0 a turn; −0.2 in an eighth −1.6.
    assert [c.per_turn for c in co2] == [Decimal("2.0"), Decimal("2.4"), Decimal("-1.6")]
    o2 = [next(c for c in m.changes if c.quantity == "o2").difference for m in moves]
    co = [next(c for c in m.changes if c.quantity == "co").difference for m in moves]
    assert o2 == [Decimal("-0.9"), Decimal("-1.1"), Decimal("0.4")]
    assert co == [Decimal("14"), Decimal("43"), Decimal("-24")]


def test_turns_add_up_by_screw(tuned: str, tmp_path: Path) -> None:
    assert [m.sums for m in trail(tmp_path).moves] == [
        (Decimal("0.25"), Decimal("0.25")),
        (Decimal("0.50"), Decimal("0.50")),
        (Decimal("0.375"), Decimal("0.625")),
    ]


def test_where_it_lies_within_the_limits_and_the_last_good_row(tuned: str, tmp_path: Path) -> None:
    one = trail(tmp_path)
    # Orrinvale's page 34: CO2 8.5 to 9.5, O2 4.0 to 5.9, CO at most 170.
    assert one.moves[0].places == (
        "CO2 within, 0.3 from the lowest, 0.7 from the highest",
        "O2 within, 1.2 from the lowest, 0.7 from the highest",
        "CO within, 115 from the highest",
    )
    readings, _ = one.good["high_fire"]
    assert [r.value for r in readings] == ["9.2", "4.5", "74"]
    assert [m.settled for m in one.moves] == ["read once"] * 3


def test_the_last_good_row_is_not_one_outside(sayback: Command, tuned: str, tmp_path: Path) -> None:
    more = ("An eighth of a turn clockwise on the high-fire screw.", "CO2 is nine point seven, O2 three point seven.")
    assert sayback("add", tuned, *(part for line in more for part in ("--text", line)))[0] in (0, 1)
    one = trail(tmp_path)
    assert one.moves[-1].places[0] == "CO2 0.2 % above the limit"
    assert [r.value for r in one.good["high_fire"][0]] == ["9.2", "4.5", "74"]


@pytest.mark.parametrize(
    "more",
    [
        ("CO2 is nine point three, O2 four point three.",),  # CO has a limit and was not read
        ("CO2 is nine point three, O2 four point three.", "CO is over range."),
        ("CO2 is nine point three, O2 four point three, CO eighty.", "CO air-free is four hundred and fifty."),  # stops
    ],
)
def test_a_row_with_a_value_missing_or_a_stop_is_no_good_row(
    sayback: Command, tuned: str, tmp_path: Path, more: tuple[str, ...]
) -> None:
    lines = ("A sixteenth of a turn clockwise on the high-fire screw.", *more)
    assert sayback("add", tuned, *(part for line in lines for part in ("--text", line)))[0] in (0, 1)
    assert [r.value for r in trail(tmp_path).good["high_fire"][0]] == ["9.2", "4.5", "74"]


def test_a_turn_in_doubt_is_in_the_table_and_in_no_sum(sayback: Command, tuned: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        turns = [row for row in job_of(store, tuned).rows.values() if row.reading.quantity == "valve_move"]
        leave_out(store, tuned, turns[1].reading.id, by="Ines Pell", why="how far, nobody knows")
    assert sayback("add", tuned, "--text", "Quarter turn, I think, on the high-fire screw.")[0] in (0, 1)
    one = trail(tmp_path)
    doubts = [m.doubt for m in one.moves]
    assert (doubts[0], doubts[1], doubts[2]) == ("", "left out by Ines Pell: how far, nobody knows", "")
    assert doubts[3].startswith("? open: ")
    # What was read about it is told; how much a turn would do is not, and no sum counts it.
    co2 = one.moves[1].changes[0]
    assert (co2.before and co2.before.value, co2.after and co2.after.value, co2.per_turn) == ("8.8", "9.4", None)
    assert [m.sums for m in one.moves] == [
        (Decimal("0.25"), Decimal("0.25")),
        (Decimal("0.25"), Decimal("0.25")),
        (Decimal("0.125"), Decimal("0.375")),
        (Decimal("0.125"), Decimal("0.375")),
    ]
    assert "? 0.25 cw" in trail_svg(one, SHEET)
    printed = sayback("trail", tuned)[1]
    assert "? high-fire screw" in printed
    assert "left out by Ines Pell" in " ".join(printed.split())
    with Store(tmp_path / "store") as store:
        _, report = made_report(store, tuned)
    assert [one.doubt for one in report.moves] == doubts
    assert report.moves[1].text.startswith("? high-fire screw")
    assert report.moves[1].sums == "+0.25 net, 0.25 in all, without this one"


def test_only_turns_in_doubt_are_not_denied(sayback: Command, tmp_path: Path) -> None:
    assert sayback("new", "--site", "X", "--technician", "Y", "--number", "t7", "--appliance", "boiler")[0] == 0
    assert sayback("add", "t7", "--text", "At low fire, quarter turn on the low fire screw.")[0] in (0, 1)
    printed = sayback("trail", "t7")[1]
    assert "No turn" not in printed
    assert "? low-fire screw, 0.25 turn" in printed
    with Store(tmp_path / "store") as store:
        made, report = made_report(store, "t7")
        assert len(report.moves) == 1
        assert "<h2>Adjustments</h2>" in html_of(store, made, sheet_of(store, made.head), report)


def test_a_value_in_doubt_is_marked_and_not_drawn(sayback: Command, tuned: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        job = job_of(store, tuned)
    row = next(row for row in job.rows.values() if row.reading.value == "9.2")
    asked = row.reading.model_copy(update={"doubts": (Doubt(kind=DoubtKind.HEARD_UNCLEARLY),)})
    open_ = replace(job, rows={**job.rows, asked.id: replace(row, reading=asked, how="open")})
    one = trail_of(open_, SHEET, "boiler", FILE, trail(tmp_path).limits)
    assert change_words(one.moves[-1].changes[0], SHEET.quantity("co2")) == "9.4 to ? 9.2 %"
    assert one.moves[-1].settled == "a value is open"
    assert [r.value for r in one.good["high_fire"][0]] == ["9.4", "4.1", "98"]
    assert ">9.2</text>" not in trail_svg(one, SHEET)


def test_what_was_read_again_without_a_turn_says_whether_it_had_settled(
    sayback: Command, tuned: str, tmp_path: Path
) -> None:
    assert sayback("add", tuned, "--text", "CO2 has gone up to nine point three now.")[0] in (0, 1)
    assert trail(tmp_path).moves[-1].settled in ("settled", "read once")
    assert sayback("add", tuned, "--text", "CO2 has gone up to nine point six now.")[0] in (0, 1)
    assert "still moving, +0.4" in trail(tmp_path).moves[-1].settled


def talked(sayback: Command, tmp_path: Path, *lines: str) -> Trail:
    """The trail of a job in which some lines were typed."""
    assert sayback("new", "--site", "X", "--technician", "Y", "--number", "t9", "--appliance", OV)[0] == 0
    assert sayback("add", "t9", *(part for line in lines for part in ("--text", line)))[0] in (0, 1)
    with Store(tmp_path / "store") as store:
        job = check_job(store, "t9")
        (one,) = trails_of(store, job, sheet_of(store, job.head))
        return one


OV = "boiler; orrinvale-ov-240c"
AHEAD = "High fire now. CO2 is eight point three, O2 six point one, CO forty-one."
QUARTER = "Quarter turn clockwise on the high-fire screw."
BEHIND = "CO2 is nine point one, O2 four point seven, CO sixty."


@pytest.mark.parametrize(
    ("second", "words"),
    [
        # 0.8 in three eighths of a turn are 2.1 a turn.
        ("Another eighth of a turn clockwise on the high-fire screw.", "+0.8 over 2 turns (+2.1 a turn)"),
        ("Another eighth of a turn counterclockwise on the high-fire screw.", "+0.8 over 2 turns"),
        ("An eighth of a turn clockwise on the low-fire screw.", "+0.8 over 2 turns of 2 screws"),
    ],
)
def test_what_two_turns_did_is_not_told_of_one(sayback: Command, tmp_path: Path, second: str, words: str) -> None:
    one = talked(sayback, tmp_path, AHEAD, QUARTER, second, BEHIND)
    told = [change_words(move.changes[0], SHEET.quantity("co2")) for move in one.moves]
    assert told == ["8.3 % before only", f"8.3 to 9.1 %: {words}"]
    assert one.moves[0].settled == "not read after it"


def test_what_is_read_after_another_screw_is_not_of_the_one_before(sayback: Command, tmp_path: Path) -> None:
    lines = ("CO2 is eight point nine.", "Low fire. CO2 is eight point eight.")
    other = "An eighth of a turn clockwise on the low-fire screw."
    one = talked(sayback, tmp_path, AHEAD, QUARTER, *lines, other, "High fire again. CO2 now nine point three.")
    assert change_words(one.moves[0].changes[0], SHEET.quantity("co2")) == "8.3 to 8.9 %: +0.6 (+2.4 a turn)"


def test_a_slow_drift_has_not_settled(sayback: Command, tmp_path: Path) -> None:
    drift = [f"CO2 now {value}." for value in ("nine point oh", "nine point one", "nine point two")]
    one = talked(sayback, tmp_path, AHEAD, QUARTER, "CO2 is eight point nine.", *drift)
    assert one.moves[0].settled.startswith("still moving, +0.3")


def test_what_is_over_range_or_was_never_settled_is_no_open_question(sayback: Command, tmp_path: Path) -> None:
    back = "Quarter turn counterclockwise on the high-fire screw."
    lines = (AHEAD, QUARTER, "CO2 is nine point eight, O2 three point five, CO is over range.", back, BEHIND)
    one = talked(sayback, tmp_path, "Natural gas.", *lines)
    told = [change_words(c, SHEET.quantity(c.quantity)) for c in one.moves[0].changes]
    assert told[1:] == ["6.1 to never settled: 3.5 %", "41 to over range ppm"]
    # CO is not drawn across it, and told in words.
    drawing = trail_svg(one, SHEET)
    lines_of_co = re.findall(r'<polyline points="([^"]*)" class="second"', drawing)
    assert [len(points.split()) for points in lines_of_co] == [1, 1]
    assert ">CO over range</text>" in drawing


def test_a_screw_that_was_not_said_leaves_the_way(sayback: Command, tmp_path: Path) -> None:
    one = talked(sayback, tmp_path, AHEAD, "Quarter turn clockwise.", BEHIND)
    assert amount_words(one.moves[0], SHEET) == "? screw not said, 0.25 turn clockwise"


def test_nothing_is_within_while_the_analyser_holds_no_zero(sayback: Command, tmp_path: Path) -> None:
    one = talked(sayback, tmp_path, AHEAD, QUARTER, BEHIND, "The analyser won't zero.")
    assert one.moves[0].places[0] == "CO2 cannot be told: Analyser does not hold its zero"
    assert one.good == {}
    assert sayback("add", "t9", "--text", "Zero check passed.")[0] in (0, 1)
    with Store(tmp_path / "store") as store:
        job = check_job(store, "t9")
        for stop in undealt(job, job.findings):
            stop_dealt_with(store, "t9", stop.open, what="another analyser", by="Y")
        job = check_job(store, "t9")
        (one,) = trails_of(store, job, sheet_of(store, job.head))
    assert one.moves[0].places[0].startswith("CO2 cannot be told: not read again since")
    assert one.good == {}


def test_the_narrower_of_two_limits_counts(tuned: str, tmp_path: Path) -> None:
    quoted = LimitOrigin(kind="quoted", title="quoted on site", by="Iver Salt")
    narrow = Limit(quantity="co2", condition="high_fire", low="8.6", high="9.1", unit="%", origin=quoted)
    with Store(tmp_path / "store") as store:
        job = job_of(store, tuned)
    one = trail_of(job, SHEET, "boiler", FILE, (*trail(tmp_path).limits, narrow))
    assert one.moves[-1].places[0] == "CO2 0.1 % above the limit"
    assert [r.value for r in one.good["high_fire"][0]] == ["8.8", "5.2", "55"]
    bare = trail_of(job, SHEET, "boiler", None, (narrow.model_copy(update={"unit": ""}),))
    assert bare.moves[-1].places == ()  # nothing is within a limit that cannot be compared
    assert "band first" not in trail_svg(bare, SHEET)


def test_nothing_is_within_a_limit_that_the_altitude_may_change(tuned: str, tmp_path: Path) -> None:
    high_up = ApplianceLimit(
        quantity="co2", condition="high_fire", low="7.8", high="9.0", unit="%", altitude_from="4500"
    )
    file = FILE.model_copy(update={"limits": (*FILE.limits, high_up)})
    with Store(tmp_path / "store") as store:
        job = job_of(store, tuned)
    one = trail_of(job, SHEET, "boiler", file, trail(tmp_path).limits)
    told = [move.places[0] for move in one.moves]
    assert told[0] == "CO2 within, 0.3 from the lowest, 0.7 from the highest"  # 8.8 %, by either
    assert told[-1] == "CO2 cannot be told: the maker's limit depends on the altitude"  # 9.2 %


def test_the_maker_s_word_on_the_screw(tuned: str, tmp_path: Path) -> None:
    with Store(tmp_path / "store") as store:
        job = job_of(store, tuned)
    for richer, told in (("clockwise", "as the maker says"), ("counterclockwise", "against what the maker says")):
        effect = ScrewEffect(screw="high_fire_screw", richer=richer)  # type: ignore[arg-type]  # one of its literals
        one = trail_of(job, SHEET, "boiler", FILE.model_copy(update={"screws": (effect,)}), ())
        assert {m.as_told for m in one.moves} == {told}
    assert {m.as_told for m in trail_of(job, SHEET, "boiler", FILE, ()).moves} == {""}


def test_a_corrected_value_is_no_part_of_it(sayback: Command, tuned: str, tmp_path: Path) -> None:
    assert sayback("add", tuned, "--text", "Correction, that CO2 was nine point one.")[0] in (0, 1)
    values = [e.reading.value for e in trail(tmp_path).events if e.reading.quantity == "co2"]
    assert values == ["8.3", "8.8", "9.4", "9.1"]


# ---------------------------------------------------------------- the drawing
def test_the_drawing_has_points_band_and_moves(tuned: str, tmp_path: Path) -> None:
    text = trail_svg(trail(tmp_path), SHEET)
    drawing = ET.fromstring(text)
    kinds = [(e.tag.rpartition("}")[2], e.get("class", "")) for e in drawing.iter()]
    assert kinds.count(("circle", "first")) == 4
    assert kinds.count(("rect", "point second")) == 4
    assert kinds.count(("line", "move")) == 3
    assert ("rect", "band first") in kinds
    assert "in the order they were read" in text
    # The band is CO2's 8.5 to 9.5: 8.3 lies below its lower edge, 9.2 inside.
    band = next(e for e in drawing.iter() if e.get("class") == "band first")
    top, bottom = float(band.get("y", "")), float(band.get("y", "")) + float(band.get("height", ""))
    ys = [float(e.get("cy", "")) for e in drawing.iter() if e.get("class") == "first" and e.get("cy")]
    assert ys[0] > bottom
    assert top < ys[-1] < bottom


def test_by_time_where_all_times_are_known(tuned: str, tmp_path: Path) -> None:
    one = trail(tmp_path)
    timed = replace(one, events=tuple(replace(e, at=1000.0 + 30 * n * n) for n, e in enumerate(one.events)))
    text = trail_svg(timed, SHEET)
    assert "CO2 and CO over time" in text
    xs = [float(x) for x in re.findall(r'<circle cx="([0-9.]+)"', text)]
    gaps = [b - a for a, b in pairwise(xs)]
    assert gaps == sorted(gaps)
    assert gaps[0] >= 18


def test_nothing_is_drawn_without_a_turn(tuned: str, tmp_path: Path) -> None:
    one = trail(tmp_path)
    assert trail_svg(replace(one, moves=()), SHEET) == ""


# ---------------------------------------------------------------- the command and the report
def test_the_command_shows_table_data_and_drawing(sayback: Command, tuned: str, tmp_path: Path) -> None:
    code, printed, _ = sayback("trail", tuned, "--svg", tmp_path / "t.svg")
    assert code == 0
    assert "+0.25 net, 0.25 in all" in printed
    assert "8.3 to 8.8 %: +0.5 (+2.0 a" in printed
    assert "Last row within all limits at high fire: CO2 9.2 %, O2 4.5 %, CO 74 ppm" in printed
    ET.parse(tmp_path / "t.svg")
    (data,) = json.loads(sayback("trail", tuned, "--json")[1])["trails"]
    assert [m["turns"] for m in data["moves"]] == ["0.25", "0.25", "0.125"]
    assert data["moves"][0]["changes"][0]["per_turn"] == "2.0"
    code, _, told = sayback("trail", tuned, "--svg", tmp_path / "nowhere" / "t.svg")
    assert code == 4
    assert "cannot be written" in told


def test_without_a_turn_it_says_so(sayback: Command, job: str) -> None:
    assert "No turn of a screw is recorded." in sayback("trail", job)[1]


_TELLING = re.compile(
    r"\b(turn it|turn the|back off|screw it|should be turned|adjust it|needs to be turned|open it up)\b"
)


def test_it_gives_no_instruction(sayback: Command, tuned: str, tmp_path: Path) -> None:
    printed = sayback("trail", tuned)[1] + trail_svg(trail(tmp_path), SHEET)
    assert not _TELLING.search(printed.lower())
    assert "safe" not in printed.lower()


def test_the_report_has_the_trail(sayback: Command, tuned: str, tmp_path: Path) -> None:
    assert sayback("report", tuned, "--to", tmp_path / "out")[0] == 0
    data = json.loads((tmp_path / "out" / "t2.json").read_text(encoding="utf-8"))
    assert data["traced"] == ["CO2", "O2", "CO"]
    assert data["moves"][1]["changes"] == [
        "8.8 to 9.4 %: +0.6 (+2.4 a turn)",
        "5.2 to 4.1 %: −1.1 (−4.4 a turn)",
        "55 to 98 ppm: +43 (+172 a turn)",
    ]
    assert data["last_within"] == ["high fire: CO2 9.2 %, O2 4.5 %, CO 74 ppm"]
    html = (tmp_path / "out" / "t2.html").read_text(encoding="utf-8")
    assert 'class="band first"' in html
    assert "+0.375 net, 0.625 in all" in html


def test_a_reading_on_one_side_only_is_told(tuned: str, tmp_path: Path) -> None:
    move: TrailMove = trail(tmp_path).moves[0]
    co2 = SHEET.quantity("co2")
    change = move.changes[0]
    assert change_words(replace(change, after=None, difference=None), co2) == "8.3 % before only"
    assert change_words(replace(change, before=None, difference=None), co2) == "8.8 % after only"
    assert change_words(replace(change, before=None, after=None, difference=None), co2) == "not read"


# ---------------------------------------------------------------- limits as a draft file
@pytest.fixture
def quoted(sayback: Command) -> str:
    """A job without an appliance file, in which two limits were quoted."""
    where = ("--site", "Tarn End Laundry", "--technician", "Iver Salt", "--number", "t3")
    assert sayback("new", *where)[0] == 0
    lines = (
        "It's running on natural gas.",
        "Book says CO2 at high fire eight point five to nine point five.",
        "CO at high fire no more than one hundred and seventy per the book.",
    )
    sayback("add", "t3", *(part for line in lines for part in ("--text", line)))
    return "t3"


def test_nothing_is_saved_that_was_not_read_back(sayback: Command, quoted: str, tmp_path: Path) -> None:
    code, _, told = sayback("limits", quoted, "--save", tmp_path / "d.toml")
    assert code == 2
    assert "No limit of boiler is known" in told
    assert not (tmp_path / "d.toml").exists()


def test_limits_read_back_are_a_file_that_loads(sayback: Command, quoted: str, tmp_path: Path) -> None:
    limits: list[dict[str, Any]] = json.loads(sayback("limits", quoted, "--json")[1])["limits"]
    assert len(limits) == 2
    path = tmp_path / "d.toml"
    assert sayback("limits", quoted, "--agree", 1, "--agree", 2, "--by", "Iver Salt", "--save", path)[0] == 0
    file, _ = load_appliance(str(path))
    assert file.fuel == "natural_gas"
    assert [(x.quantity, x.condition, x.low, x.high) for x in file.limits] == [
        ("co2", "high_fire", "8.5", "9.5"),
        ("co", "high_fire", None, "170"),
    ]
    assert "draft" in file.title
    text = path.read_text(encoding="utf-8")
    assert "read back to Iver Salt" in text
    assert tomllib.loads(text)["document"].startswith("quoted on site in job t3")
    # It is of use: a new job takes it, and its verdicts name it.
    assert (
        sayback("new", "--site", "X", "--technician", "Y", "--number", "t4", "--appliance", f"boiler; {path}")[0] == 0
    )
    code, _, told = sayback("limits", quoted, "--save", path)
    assert code == 2
    assert "is there already" in told


def test_without_the_gas_there_is_no_file(sayback: Command, tmp_path: Path) -> None:
    where = ("--site", "Tarn End Laundry", "--technician", "Iver Salt", "--number", "t5")
    assert sayback("new", *where, "--appliance", "one", "--appliance", "two")[0] == 0
    sayback("add", "t5", "--text", "Book says CO2 at high fire eight point five to nine point five.")
    assert sayback("limits", "t5", "--agree", 1)[0] == 0
    code, _, told = sayback("limits", "t5", "--save", tmp_path / "d.toml")
    assert code == 2
    assert "several appliances" in told
    code, _, told = sayback("limits", "t5", "--save", tmp_path / "d.toml", "--appliance", "one")
    assert code == 2
    assert "gas of one is not recorded" in told
    assert "no appliance 'three'" in sayback("limits", "t5", "--save", tmp_path / "d.toml", "--appliance", "three")[2]


def test_a_corrected_file_gives_new_findings_and_the_old_ones_stay(sayback: Command, tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    text = files("schemas").joinpath("appliances", "orrinvale-ov-240c.toml").read_text(encoding="utf-8")
    mine.write_text(text, encoding="utf-8")
    where = ("--site", "X", "--technician", "Iver Salt", "--number", "t5", "--appliance", f"boiler; {mine}")
    assert sayback("new", *where)[0] == 0
    sayback("add", "t5", "--text", "High fire CO2 is nine point six.")

    def co2() -> list[tuple[str, str, str]]:
        found = json.loads(sayback("check", "t5", "--json")[1])["findings"]
        limits = [(one["verdict"], one["limit"]) for one in found if one["limit"] and one["quantity"] == "co2"]
        return [(verdict, limit["high"], limit["origin"]["sha256"]) for verdict, limit in limits]

    ((verdict, high, sha256),) = co2()
    assert (verdict, high) == ("outside", "9.5")
    mine.write_text(text.replace('high = "9.5"', 'high = "9.7"', 1), encoding="utf-8")
    assert co2() == [(verdict, high, sha256)]  # the job has its own copy
    code, _, told = sayback("limits", "t5", "--file", mine)
    assert (code, "needs a reason" in told) == (2, True)
    assert sayback("limits", "t5", "--file", mine, "--why", "issue 4 of the book")[0] == 0
    ((verdict, high, other),) = co2()
    assert (verdict, high, other != sha256) == ("within", "9.7", True)
    assert sayback("verify", "t5")[0] == 0
    assert "word for word" in sayback("limits", "t5", "--file", mine, "--why", "again")[2]
    with Store(home_folder()) as store:
        checked = [one.body for one in store.entries("t5") if isinstance(one.body, Checked)]
    assert [x.verdict for one in checked for x in one.findings if x.quantity == "co2" and x.limit] == [
        "outside",
        "within",
    ]


def test_a_quoted_limit_keeps_the_page_that_was_named(sayback: Command, tmp_path: Path) -> None:
    assert sayback("new", "--site", "X", "--technician", "Iver Salt", "--number", "t6")[0] == 0
    lines = (
        "Running on natural gas. High fire.",
        "CO2 book, page thirty four: eight five to nine five.",
        "CO2 is nine five.",
    )
    sayback("add", "t6", *(part for line in lines for part in ("--text", line)))
    path = tmp_path / "d.toml"
    assert sayback("limits", "t6", "--agree", 1, "--save", path)[0] == 0
    (limit,) = load_appliance(str(path))[0].limits
    assert (limit.low, limit.high, limit.page) == ("8.5", "9.5", "34")
    found = json.loads(sayback("check", "t6", "--json")[1])["findings"]
    (co2,) = [one for one in found if one["quantity"] == "co2" and one["limit"]]
    assert (co2["verdict"], co2["basis"]) == ("within", "quoted by Iver Salt, book, page 34")
