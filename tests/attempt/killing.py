"""Kills children that write a journal at random moments and counts what is lost: killing.py FOLDER COUNT."""

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from scenarios import library
from trainer.attempt import journal
from trainer.attempt.events import AdvanceLead


def write_until_killed(path, scenario, acknowledge):
    """Write numbered events for ever, telling through a pipe of each that `write` has returned from."""
    with journal.Journal.create(path, scenario=scenario, seed=1) as written:
        number = 0
        while True:
            written.write(AdvanceLead(float(number)), digest=str(number), stamp=0.1 * number)
            os.write(acknowledge, b".")
            number += 1


def killed(path, scenario, patience):
    """Return how many events a child had acknowledged when it was killed after some seconds."""
    told, acknowledge = os.pipe()
    child = os.fork()
    if child == 0:
        write_until_killed(path, scenario, acknowledge)
    os.close(acknowledge)
    time.sleep(patience)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    count = 0
    while part := os.read(told, 65536):
        count += len(part)
    os.close(told)
    return count


def checked(path, committed):
    """Return what became of a journal: every committed event there, one more at most, able to go on."""
    try:
        record = journal.read(path)
    except (ValueError, FileNotFoundError):
        # Killed before the header was whole: nothing had been committed.
        return {"unreadable": 1, "lost": committed}
    numbers = [event.millimetres for event in record.events]
    right = numbers == [float(k) for k in range(len(numbers))]
    beyond = len(numbers) - committed
    with journal.Journal.resume(path, record) as written:
        written.write(AdvanceLead(-1.0), digest="again")
    again = journal.read(path)
    goes_on = again.events == (*record.events, AdvanceLead(-1.0)) and again.dropped is None
    return {
        "lost": max(0, -beyond),
        "beyond": int(beyond > 1),
        "wrong": int(not right or not goes_on),
        "torn": int(record.dropped is not None),
        "events": len(numbers),
    }


def main(folder, count):
    scenario, chance, sums = library.load("ordinary-adult"), random.Random(7), {}
    for number in range(count):
        path = Path(folder) / f"{number}.jsonl"
        committed = killed(path, scenario, chance.uniform(0.0, 0.03))
        for name, value in checked(path, committed).items():
            sums[name] = sums.get(name, 0) + value
        path.unlink(missing_ok=True)
    print(json.dumps(sums))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
