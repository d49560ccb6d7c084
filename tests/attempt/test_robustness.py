"""Kills at random moments lose nothing committed; mutated journals and cases are refused in a sentence."""

import json
import random
import subprocess
import sys
from pathlib import Path

import pytest

from scenarios import library
from scenarios.scenario import from_toml
from trainer.attempt import journal
from trainer.attempt.replay import repeat
from trainer.attempt.state import digest

ODD = (None, True, -1, 0, 10**400, 1e308, float("nan"), "", "T99", "\u0000", [], {}, [[]], "left", -1e-9, 1e6)
ROOT = Path(__file__).resolve().parents[2]


def kills(folder, count):
    command = [sys.executable, str(Path(__file__).with_name("killing.py")), str(folder), str(count)]
    run = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, env=environment())
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


def environment():
    import os

    return {**os.environ, "PYTHONPATH": str(ROOT)}


def check_kills(sums):
    assert sums["events"] > 0
    assert (sums["lost"], sums["beyond"], sums["wrong"]) == (0, 0, 0)


def test_a_kill_at_a_random_moment_loses_nothing_committed(tmp_path):
    check_kills(kills(tmp_path, 40))


@pytest.mark.sweep
def test_a_thousand_kills_lose_nothing_committed(tmp_path):
    sums = kills(tmp_path, 1000)
    print(sums)
    check_kills(sums)


def mutated_bytes(raw, chance):
    """Return bytes with a few of them changed, dropped, doubled or swapped for others."""
    raw = bytearray(raw)
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(raw))
        kind = chance.randrange(4)
        if kind == 0:
            raw[place] = chance.randrange(256)
        elif kind == 1:
            del raw[place : place + chance.randint(1, 30)]
        elif kind == 2:
            raw[place:place] = raw[place : place + chance.randint(1, 30)]
        else:
            raw[place:place] = bytes(chance.randrange(32, 127) for _ in range(chance.randint(1, 8)))
        raw = raw or bytearray(b"x")
    return bytes(raw)


def mutated_values(raw, chance):
    """Return a journal in which a value of one line has been changed for an odd one, or lines have moved."""
    lines = raw.splitlines()
    place = chance.randrange(len(lines))
    if chance.random() < 0.2:
        other = chance.randrange(1, len(lines))
        lines[place], lines[other] = lines[other], lines[place]
    else:
        content = json.loads(lines[place])
        inner = content
        while isinstance(inner, dict) and inner:
            key = chance.choice(sorted(inner))
            if isinstance(inner[key], dict) and chance.random() < 0.7:
                inner = inner[key]
                continue
            inner[key] = chance.choice(ODD)
            break
        lines[place] = json.dumps(content).encode()
    return b"\n".join(lines) + b"\n"


def one_sentence(error):
    words = str(error)
    assert words
    assert "\n" not in words
    assert "Traceback" not in words


def check_journals(finished, folder, *, count, repeated):
    """Read mutated journals, and repeat the first of those that can be read."""
    chance, path = random.Random(11), folder / "mutated.jsonl"
    raw = b"".join(finished.path.read_bytes().splitlines(keepends=True)[:60])
    refused = done = 0
    for number in range(count):
        change = mutated_bytes if number % 2 else mutated_values
        path.write_bytes(change(raw, chance))
        try:
            record = journal.read(path)
        except ValueError as error:
            refused += 1
            one_sentence(error)
            continue
        # Another anatomy would have to be built; the rest of the rules do not depend on which it is.
        if done < repeated and record.scenario.anatomy == finished.attempt.scenario.anatomy:
            done += 1
            check_repetition(record, finished.attempt)
    assert refused > count // 3
    assert done == repeated


def check_repetition(record, attempt):
    first = digest(attempt.first)
    try:
        replayed = repeat(record, anatomy=attempt.anatomy)
    except ValueError as error:
        one_sentence(error)
    else:
        assert len(replayed.attempt.done) <= len(record.entries)
    assert digest(attempt.first) == first


def check_cases(count):
    chance = random.Random(13)
    texts = [(library.FOLDER / f"{name}.toml").read_bytes() for name in library.names()]
    refused = 0
    for _ in range(count):
        text = mutated_bytes(chance.choice(texts), chance).decode("utf-8", errors="replace")
        try:
            case = from_toml(text, source="case.toml")
        except ValueError as error:
            refused += 1
            one_sentence(error)
        else:
            assert from_toml(case.to_toml(), source="again") == case
    assert refused > count // 3


def test_mutated_journals_are_refused_in_a_sentence(finished, tmp_path):
    check_journals(finished, tmp_path, count=300, repeated=15)


def test_mutated_cases_are_refused_in_a_sentence():
    check_cases(300)


@pytest.mark.sweep
def test_ten_thousand_mutated_journals(finished, tmp_path):
    check_journals(finished, tmp_path, count=10_000, repeated=400)


@pytest.mark.sweep
def test_ten_thousand_mutated_cases():
    check_cases(10_000)
