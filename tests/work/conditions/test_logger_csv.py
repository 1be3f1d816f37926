"""Loggers' CSV in ten shapes, as loggers in general write them; all of it invented."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from walkboard.book.venue.records import OUTDOORS, AirLog
from walkboard.errors import InputError
from walkboard.work.conditions.clock import clock_questions
from walkboard.work.conditions.logger_csv import ReadLog, read_log

START = datetime(2031, 1, 28, 22, 0, tzinfo=UTC)
CELSIUS = [12.5 + 0.1 * n for n in range(60)]
HUMID = [55.0 + (n % 7) for n in range(60)]
TIMES = [START + timedelta(minutes=10 * n) for n in range(60)]


def comma(value: float) -> str:
    return f"{value:.1f}".replace(".", ",")


def lines(form: str, *, head: str = "", decimal_comma: bool = False) -> bytes:
    number = comma if decimal_comma else "{:.1f}".format
    rows = [
        form.format(
            n=n + 1,
            t=t,
            c=number(c),
            f=number(c * 9.0 / 5.0 + 32.0),
            h=number(h),
            unix=int(t.timestamp()),
        )
        for n, (t, c, h) in enumerate(zip(TIMES, CELSIUS, HUMID, strict=True))
    ]
    return (head + "\n".join(rows) + "\n").encode()


SHAPES = {
    "iso with zone": lines("{t:%Y-%m-%dT%H:%M:%S}+00:00,{c},{h}", head="time,temp,humidity\n"),
    "semicolons and decimal commas": lines(
        "{t:%d.%m.%Y %H:%M};{c};{h}",
        head="Zeit;Temperatur (°C);Feuchte (%)\n",
        decimal_comma=True,
    ),
    "date and time apart": lines("{t:%d/%m/%Y},{t:%H:%M:%S},{c},{h}", head="Date,Time,T °C,RH %\n"),
    "months first, twelve hours": lines(
        "{n},{t:%m/%d/%Y %I:%M:%S %p},{c},{h}", head="No,Date Time,Temp (C),Hum\n"
    ),
    "fahrenheit by name": lines("{t:%Y-%m-%d %H:%M:%S},{f},{h}", head="Time,Temp °F,RH\n"),
    "fahrenheit unsaid": lines("{t:%Y-%m-%d %H:%M:%S},{f}"),
    "without a head, numbered": lines("{n};{t:%Y-%m-%d %H:%M};{c};{h}"),
    "a head of remarks": lines(
        "{t:%Y/%m/%d %H:%M}\t{c}\t{h}",
        head="Logger 7, nave\nSerial 12, interval 10 min\n\nDate\tTemperature\tHumidity\n",
    ),
    "seconds since 1970, dew point first": lines(
        "{unix},3.1,{c},{h}", head="unix,dew point °C,temperature °C,humidity\n"
    ),
    "utf-16 with a mark": b"\xff\xfe"
    + lines("{t:%Y-%m-%d %H:%M};{c} °C;{h} %", head="Time;Temp;RH\n").decode().encode("utf-16-le"),
}


def read(data: bytes, **said: object) -> ReadLog:
    return read_log(data, place="great", file_name="log.csv", zone=UTC, **said)  # type: ignore[arg-type]


@pytest.mark.parametrize("shape", SHAPES)
def test_the_shape_is_read_and_said(shape: str) -> None:
    found = read(SHAPES[shape])
    log = found.log
    assert log.starts_at == START
    np.testing.assert_allclose(log.minutes, [10.0 * n for n in range(60)])
    np.testing.assert_allclose(log.celsius, CELSIUS, atol=0.06)
    if shape != "fahrenheit unsaid":
        np.testing.assert_allclose(log.humidity, np.array(HUMID) / 100.0)
    assert found.left_out == 0
    assert any("12.5 to 18.4 °C" in words for words in found.words)


def test_what_is_guessed_can_be_said_instead() -> None:
    data = lines("{t:%Y-%m-%d %H:%M},{h},{c}", head="time,temp a,temp b\n")
    assert read(data).guess.celsius_column == 1
    assert read(data, is_fahrenheit=False).log.celsius[0] == 55.0
    assert read(data, celsius_column=2).log.celsius[0] == 12.5
    with pytest.raises(InputError, match="it has no column 8"):
        read(data, celsius_column=7)
    slow = read(SHAPES["iso with zone"], shift=timedelta(hours=1))
    assert slow.log.starts_at == START + timedelta(hours=1)


def test_dates_that_read_either_way_are_asked_about() -> None:
    early = b"time,temp\n" + b"".join(
        f"0{d}/0{m}/2031 10:00,15.{d}\n".encode() for m in (1, 2) for d in range(1, 8)
    )
    assert any("day first or month first" in q for q in read(early).questions)
    assert read(SHAPES["date and time apart"]).questions == ()


def test_a_torn_off_sensor_and_rubbish_lines_are_left_out() -> None:
    data = SHAPES["iso with zone"] + b"2031-01-29T08:10:00+00:00,-127.0,50\nBattery low,,\n"
    found = read(data)
    assert (len(found.log.celsius), found.left_out) == (60, 2)


def test_a_clock_that_goes_back_is_asked_about_and_leaves_no_two_readings_of_one_time() -> None:
    rows = SHAPES["iso with zone"].splitlines()
    again = b"\n".join([*rows, *rows[-6:]])
    found = read(again)
    assert any("times do not always rise" in q for q in found.questions)
    assert all(a < b for a, b in zip(found.log.minutes, found.log.minutes[1:], strict=False))


@pytest.mark.parametrize(
    "data",
    [b"", b"hello\nworld\n", b"a,b\n1,2\n3,4\n", b"2031-01-01 10:00,x\n2031-01-01 11:00,y\n"],
)
def test_what_is_no_log_is_refused(data: bytes) -> None:
    with pytest.raises(InputError, match="not a readable air log"):
        read(data)


def test_a_month_by_the_minute_loads_quickly() -> None:
    """43,200 readings: work is counted, not timed: one `strptime` a reading, few more to guess."""
    rows = "\n".join(
        f"{START + timedelta(minutes=n):%Y-%m-%d %H:%M:%S},15.{n % 10}" for n in range(43_200)
    )
    begun = time.process_time()
    assert len(read(rows.encode()).log.celsius) == 43_200
    assert time.process_time() - begun < 10.0  # a hang, not a figure


def a_log(place: str, celsius: np.ndarray, start: datetime = START) -> AirLog:
    minutes = tuple(15.0 * n for n in range(len(celsius)))
    return AirLog(place, f"{place}.csv", start, minutes, tuple(map(float, celsius)))


HOURS = np.arange(0.0, 96.0, 0.25)
HEATED = 12.0 + 6.0 * np.clip(np.sin(2.0 * np.pi * HOURS / 31.0), 0.0, None) ** 0.5


def asked(log: AirLog, *others: AirLog, now: datetime = START + timedelta(days=30)) -> str:
    zone = ZoneInfo("Europe/Berlin")
    return " ".join(clock_questions(log, others, (), now=now, zone=zone))


def test_a_clock_an_hour_out_against_another_is_asked_about() -> None:
    right = a_log("swell", HEATED)
    slow = a_log("great", HEATED + 0.4, START + timedelta(hours=1))
    assert "1 h later than the log of swell" in asked(slow, right)
    assert asked(a_log("great", HEATED + 0.4), right) == ""
    assert asked(slow, a_log(OUTDOORS, HEATED)) == ""


def test_readings_in_the_future_and_the_change_to_summer_time_are_asked_about() -> None:
    log = a_log("great", HEATED)
    assert "in the future" in asked(log, now=START)
    # Summer time began on 30 March 2031 in central Europe (last Sunday of March, 2000/84/EC).
    spring = a_log("great", HEATED, datetime(2031, 3, 28, 12, tzinfo=UTC))
    assert "clocks changed on 30 March 2031" in asked(spring, now=START + timedelta(days=99))
