"""Moments in the plant's zone: on pages; what programs and files get stays UTC."""

import csv
import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from wideroll.acts.history import events_of
from wideroll.people import DeskFile
from wideroll.server.desk import Desk, DeskSettings
from wideroll.server.pages import templates
from wideroll.server.times import day_words, in_zone, moment_words, start_of_day_utc, today_of, zone_of

_VIENNA = ZoneInfo("Europe/Vienna")


@pytest.mark.parametrize(
    ("moment", "words"),
    [
        ("2026-03-29T00:59:59+00:00", "2026-03-29 01:59 CET"),
        ("2026-03-29T01:00:00+00:00", "2026-03-29 03:00 CEST"),
        ("2026-10-25T00:30:00+00:00", "2026-10-25 02:30 CEST"),
        ("2026-10-25T01:30:00+00:00", "2026-10-25 02:30 CET"),
        ("2026-12-31 23:30:00 UTC", "2027-01-01 00:30 CET"),
        ("0001-01-01T00:00:00+14:00", "0001-01-01T00:00:00+14:00"),
        ("2026-12-31", "2026-12-31"),
        ("none", "none"),
    ],
)
def test_a_moment_is_told_by_the_clock_of_the_plant(moment, words):
    """Also around the changes of daylight saving time and of the year; what is no moment stays."""
    assert moment_words(moment, _VIENNA) == words


def test_a_zone_without_letters_is_told_by_its_hours():
    """Its name says how far it is from UTC."""
    assert moment_words("2026-11-30T13:05:00+00:00", ZoneInfo("America/Sao_Paulo")) == "2026-11-30 10:05 UTC-03"


def test_a_day_of_the_plant_begins_at_its_own_midnight():
    """A day may have 23 or 25 hours; at the ends of the calendar nothing breaks."""
    assert start_of_day_utc("2026-10-25", _VIENNA) == "2026-10-24T22:00:00+00:00"
    assert start_of_day_utc("2026-10-25", _VIENNA, after=1) == "2026-10-25T23:00:00+00:00"
    assert start_of_day_utc("9999-12-31", _VIENNA, after=1) == "9999-12-31"
    assert start_of_day_utc("0001-01-01", _VIENNA) == "0001-01-01"
    assert day_words("2026-10-24T22:00:00+00:00", _VIENNA) == "2026-10-25"


def test_columns_name_the_zone_and_an_hour_that_comes_twice_is_told_apart():
    """The head names the zone; cells name it only where the same hour comes twice; each is a time with its UTC."""
    text = "{% for one in those %}{{ one | moment_below('when, UTC') }};{% endfor %}{{ 'when, UTC' | zone_head }}"
    those = ["2026-10-25 00:30", "2026-10-25 01:30", "2026-10-25 02:30:15", ""]
    with in_zone(_VIENNA):
        made = templates().from_string(text).render(those=those)
    assert re.sub("<[^>]*>", "", made) == (
        "2026-10-25 02:30 CEST;2026-10-25 02:30 CET;2026-10-25 03:30:15;;when, Europe/Vienna"
    )
    assert '<time datetime="2026-10-25T01:30:00+00:00">' in made
    with in_zone(UTC):
        made = templates().from_string(text).render(those=those[2:])
    assert re.sub("<[^>]*>", "", made) == "2026-10-25 02:30:15;;when, UTC"


def test_today_is_the_day_of_the_plant(tmp_path):
    """Without a zone it is the day in UTC."""
    desk = Desk(settings=DeskSettings(root=tmp_path, rules=DeskFile(zone="Pacific/Kiritimati")))
    assert today_of(desk) == datetime.now(zone_of(desk)).date()
    assert str(zone_of(desk)) == "Pacific/Kiritimati"
    assert zone_of(Desk(settings=DeskSettings(root=tmp_path))) is UTC


def test_pages_show_the_zone_and_files_stay_in_utc(browse, decided):
    """The record's page, its event and its days are the plant's; CSV and JSON of the same are UTC."""
    desk = browse(decided, rules=DeskFile(zone="Pacific/Kiritimati"))
    first = events_of(decided, "T-1")[0]
    at = datetime.fromisoformat(first.when_utc).astimezone(ZoneInfo("Pacific/Kiritimati"))
    page = desk.get("/record?roll=T-1").text
    assert "when, Pacific/Kiritimati</th>" in page
    assert f'<time datetime="{first.when_utc}">{at:%Y-%m-%d %H:%M:%S}</time>' in page
    assert re.search(r'Made <time datetime="[^"]*\+00:00">[^<]* UTC\+14</time>', page)
    assert f"{at:%Y-%m-%d %H:%M:%S} UTC+14</time>" in desk.get(f"/record/{first.number}").text
    rows = list(csv.DictReader(io.StringIO(desk.get("/record?roll=T-1&format=csv").text)))
    assert f"{datetime.fromisoformat(first.when_utc):%Y-%m-%d %H:%M:%S}" in {row["when, UTC"] for row in rows}
    assert first.when_utc in {one["when_utc"] for one in desk.get("/api/record").json()["events"]}
    days = [day_words(one["when_utc"], at.tzinfo) for one in desk.get("/api/record").json()["events"]]
    for day in {*days, "2026-01-01"}:
        rows = desk.get(f"/record?from={day}&to={day}&format=csv").text.splitlines()
        assert len(rows) == 1 + days.count(day)


def test_the_log_of_people_is_in_the_zone_and_its_csv_in_utc(tmp_path, make_people, desk_rules):
    """When somebody was added stands on the page by this plant's clock, not another's; CSV and JSON say UTC."""
    other = tmp_path / "other"
    other.mkdir()
    assert "when, UTC</th>" in make_people(other, desk_rules).browser("administrator").get("/people/log").text
    people = make_people(tmp_path, replace(desk_rules, zone="America/Sao_Paulo"))
    browser = people.browser("administrator")
    row = browser.get("/api/people/log").json()["log"][-1]
    at = datetime.fromisoformat(row["when"].removesuffix(" UTC")).replace(tzinfo=UTC)
    shown = f"{at.astimezone(ZoneInfo('America/Sao_Paulo')):%Y-%m-%d %H:%M:%S}"
    page = browser.get("/people/log").text
    assert "when, America/Sao_Paulo</th>" in page
    assert f'<time datetime="{at.isoformat()}">{shown}</time>' in page
    assert row["when"] in browser.get("/people/log?format=csv").text
    added = browser.get("/api/people/reader").json()["added"]
    assert moment_words(added, ZoneInfo("America/Sao_Paulo"), seconds=True) in browser.get("/people/reader").text
