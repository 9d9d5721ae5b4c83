"""Depths, dates, kinds and column names as they stand in lists of spots."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.dates_and_times import read_dates
from castshed.toolbox.errors import UsageError
from castshed.toolbox.sources.cell_texts import read_depth
from castshed.toolbox.sources.columns import ROLES, check_mapping, find_roles, header_words, parse_mapping
from castshed.toolbox.sources.kinds import KINDS, SYNONYMS, Kind, alike, read_kinds
from long_tests import as_many

FT = 0.3048  # international foot, by definition


# The texts are those of the trade's lists: 10-15, 10', 8 to 12 ft, 3 m, unknown (common practice).
@pytest.mark.parametrize(
    ("text", "unit", "least", "most"),
    [
        ("10-15", "ft", 10 * FT, 15 * FT),
        ("10-15", "m", 10.0, 15.0),
        ("15-10 ft", None, 10 * FT, 15 * FT),
        ("10'", None, 10 * FT, 10 * FT),
        ("10’ – 15’", None, 10 * FT, 15 * FT),
        ("8 to 12 ft", "m", 8 * FT, 12 * FT),
        ("3 m", "ft", 3.0, 3.0),
        ("3,5 m", None, 3.5, 3.5),
        ("2.5 metres", None, 2.5, 2.5),
        ("10'6\"", None, 10.5 * FT, 10.5 * FT),
        ("10 ft 6 in", None, 10.5 * FT, 10.5 * FT),
        ("2 fathoms", None, 12 * FT, 12 * FT),
        ("~12 feet deep", None, 12 * FT, 12 * FT),
        ("approx. 12", "ft", 12 * FT, 12 * FT),
        ("12 ± 2 ft", None, 10 * FT, 14 * FT),
        ("Depth: 12 ft", None, 12 * FT, 12 * FT),
        ("3m - 12ft", None, 3.0, 12 * FT),
        ("0", "ft", 0.0, 0.0),
    ],
)
def test_depth_texts(text, unit, least, most):
    depth = read_depth(text, unit)
    assert (depth.least_m, depth.most_m) == pytest.approx((least, most), abs=1e-9)
    assert depth.remark == ""


@pytest.mark.parametrize(
    "text", ["", " ", "unknown", "Unknown", "n/a", "N/A", "-", "--", "?", "varies", "none", "TBD"]
)
def test_unknown_depths_are_gaps_without_a_remark(text):
    depth = read_depth(text, "ft")
    assert math.isnan(depth.least_m)
    assert depth.remark == ""


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("10", None, "has no unit"),
        ("10-15", None, "has no unit"),
        ("-12", "ft", "minus sign"),
        ("ten", "ft", "could not be read"),
        ("10 furlongs", "ft", "could not be read"),
        ("=1+9", "ft", "could not be read"),
        ("99999", "ft", "deeper than any lake"),
        ("9" * 400, "ft", "too long"),
        ("2 ± 3 ft", None, "could not be read"),
        ("10-12-15", "ft", "could not be read"),
    ],
)
def test_a_depth_that_is_not_used_says_why(text, unit, words):
    depth = read_depth(text, unit)
    assert math.isnan(depth.least_m)
    assert words in depth.remark


@pytest.mark.parametrize("text", ["20+", ">20", "<20", "up to 20", "at least 20"])
def test_a_bound_is_taken_as_its_figure_and_said(text):
    depth = read_depth(text, "ft")
    assert depth.least_m == pytest.approx(20 * FT)
    assert "is a bound" in depth.remark


def test_top_and_bottom_in_the_text():
    both = read_depth("8 over 14 ft", None)
    assert (both.top_m, both.least_m) == pytest.approx((8 * FT, 14 * FT))
    assert [read_depth(t, "ft").of for t in ("8 (top)", "to bottom 14", "8 ft to top", "9")] == [
        "top", "bottom", "top", "",
    ]  # fmt: skip


@given(st.text(max_size=100), st.sampled_from(["ft", "m", None]))
@settings(max_examples=as_many(300), deadline=None)
def test_no_text_breaks_the_depth_reader(text, unit):
    depth = read_depth(text, unit)
    assert math.isnan(depth.least_m) or 0 <= depth.least_m <= depth.most_m <= 2000


@pytest.mark.parametrize(
    ("texts", "iso"),
    [
        (["2021-05-03", "2021/5/3", "2021-05", "2021", "2021-05-03T10:00:00Z"],
         ["2021-05-03", "2021-05-03", "2021-05", "2021", "2021-05-03"]),
        (["3/25/2021", "5/6/2021"], ["2021-03-25", "2021-05-06"]),
        (["25.3.2021", "5.6.2021"], ["2021-03-25", "2021-06-05"]),
        (["5/6/2021", "4/4/2020"], ["2021", "2020-04-04"]),
        (["3 May 2019", "May 3, 2019", "May 2019", "Sept. 2019", "3rd Jan 2020"],
         ["2019-05-03", "2019-05-03", "2019-05", "2019-09", "2020-01-03"]),
        (["", "soon", "2021-02-30", "13/13/2020", "1066"], ["", "", "", "", ""]),
    ],
)  # fmt: skip
def test_dates(texts, iso):
    assert [found for found, _ in read_dates(texts)] == iso


def test_a_date_that_could_not_be_read_is_quoted():
    found = read_dates(["5/6/2021", "soon", "2021-02-30"])
    assert all("'" in remark for _, remark in found)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Cedar Trees", "conifer_brush"),
        ("christmas-tree brush pile", "conifer_brush"),
        ("Hinge cut trees", "hardwood_brush"),
        ("BRUSHPILE", "brush"),
        ("PVC trees", "artificial"),
        ("stake bed, 2019", "stake_bed"),
        ("Rip-rap", "rock_pile"),
        ("standing timber", "standing_timber"),
        ("Main lake point", "point"),
        ("channel swing", "channel_bend"),
        ("brush and rock", "other"),
        ("Flag, Blue", "other"),
        ("", "other"),
        ("rock_pile", "rock_pile"),
    ],
)
def test_kinds_by_the_trades_words(text, kind):
    assert read_kinds([text])[0].name == kind


def test_every_kind_of_the_book_is_its_own_word_and_no_word_has_two_kinds():
    assert [k.name for k in read_kinds(list(KINDS))] == list(KINDS)
    words = [w for kind in SYNONYMS for w in SYNONYMS[kind]]
    assert len(words) == len(set(words))


def test_a_word_of_the_users_own_goes_first():
    assert read_kinds(["Spring hole", "brush"], {"spring hole": "pocket", "brush": "stumps"}) == [
        Kind("pocket", "form"), Kind("stumps", "cover"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        ("cedar", "brush pile", True),
        ("cedar", "oak tops", False),
        ("cedar", "fish attractor", True),
        ("hump", "fish attractor", False),
        ("hump", "", True),
        ("rock pile", "stake bed", False),
        ("stumps", "timber", True),
        ("fish attractor", "", True),
    ],
)
def test_which_kinds_may_be_one_structure(one, two, same):
    a, b = read_kinds([one, two])
    assert alike(a, b) is alike(b, a) is same


@pytest.mark.parametrize(
    ("header", "words", "unit"),
    [
        ("Depth (ft)", "depth", "ft"),
        ("DEPTH_M", "depth", "m"),
        ("Depth at normal pool in feet", "depth", "ft"),
        ("Lat_DD", "lat", None),
        ("Longitude (W)", "longitude", None),
        ("SiteName", "site name", None),
        ("position_error_m", "position error", "m"),
    ],
)
def test_header_words(header, words, unit):
    assert header_words(header) == (words, unit)


def test_roles_are_guessed_once_each_and_can_be_overruled():
    headers = [
        "OBJECTID",
        "Site Name",
        "Y",
        "X",
        "Structure",
        "Material",
        "Water Depth",
        "Depth (ft)",
        "Notes",
        "Comments",
    ]
    roles = find_roles(headers, {})
    assert {role: roles.columns[role] for role in roles.columns} == {
        "latitude": ("Y",), "longitude": ("X",), "spot_id": ("OBJECTID",), "name": ("Site Name",),
        "kind": ("Structure", "Material"), "depth": ("Depth (ft)",), "note": ("Notes", "Comments"),
    }  # fmt: skip
    assert roles.units == {"Depth (ft)": "ft"}
    assert find_roles(headers, {"depth": "water depth"}).one("depth") == "Water Depth"


def test_mappings_that_name_nothing_are_refused():
    assert parse_mapping(["top-depth=Top (ft)"]) == {"top_depth": "Top (ft)"}
    for entry in ("depth", "colour=Red", "depth="):
        with pytest.raises(UsageError, match="role=Header"):
            parse_mapping([entry])
    with pytest.raises(UsageError, match=r"a\.csv: Lat, Lon"):
        check_mapping({"depth": "Tiefe"}, {"a.csv": ["Lat", "Lon"]})


def test_no_header_word_plays_two_roles():
    words = [word for role in ROLES.values() for word in role]
    assert len(words) == len(set(words))
