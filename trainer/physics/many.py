"""The same question to very many cases: here, in a pool of processes, or on a Dask cluster.

Each finished record is appended to a file of JSON lines, flushed and synced, so that a killed run goes on
where it stopped. When all are there the file is put into the order of the cases: it is the same to the
last byte, however many workers there were and in whatever order they finished.
"""

import json
import multiprocessing
import os
from collections import deque
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from contextlib import closing, contextmanager
from pathlib import Path

from meshes.whole_files import whole_file

FORMAT = 1
WAITING = 4  # tasks handed out beyond the number of workers, so that a cancelled run ends soon


class CancelledError(RuntimeError):
    """A run was cancelled; what had finished is kept in its file."""


def _line(content):
    return json.dumps(content, ensure_ascii=False, allow_nan=False, sort_keys=True) + "\n"


def _read(path):
    """Return the whole lines of a file as values; what a kill has torn at its end is dropped."""
    text = path.read_bytes()
    whole = text[: text.rfind(b"\n") + 1]
    try:
        return [json.loads(line) for line in whole.decode("utf-8").splitlines()], len(whole)
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise ValueError(
            f"{path}: each line must be JSON, got {error}: name another file, or remove this one"
        ) from None


class Ledger:
    """The file of a run: a first line with what is asked, then one record a line."""

    def __init__(self, path, head):
        self.path, self.head, self.records = Path(path), {"format": FORMAT, **head}, {}
        size = self.path.stat().st_size if self.path.exists() else 0
        kept = self._take_up() if size else 0
        if kept < size:
            os.truncate(self.path, kept)
        if not kept:
            self._append(self.head)

    def _take_up(self):
        lines, kept = _read(self.path)
        if lines and lines[0] != self.head:
            raise ValueError(
                f"{self.path}: the file must belong to this question, got one with another: "
                "name another file, or ask the same again"
            )
        self.records = {record["case"]: record for record in lines[1:]}
        return kept

    def _append(self, content):
        with open(self.path, "ab") as file:
            file.write(_line(content).encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())

    def add(self, record):
        """Keep one record."""
        # As it will be read again: tuples become lists, numbers keep their last bit.
        record = json.loads(_line(record))
        self._append(record)
        self.records[record["case"]] = record

    def put_in_order(self, cases):
        """Write the file anew, whole or not at all: the cases in their order, then what it held besides."""
        order = dict.fromkeys([*cases, *self.records])
        with whole_file(self.path) as draft:
            lines = [self.head, *(self.records[case] for case in order)]
            draft.write_bytes("".join(map(_line, lines)).encode("utf-8"))


@contextmanager
def _pool(workers):
    # A fresh interpreter a worker: no thread or lock of this process is copied.
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))
    try:
        yield pool.submit, lambda futures: wait(futures, timeout=0.2, return_when=FIRST_COMPLETED).done
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _cluster(address):
    try:
        from distributed import Client
        from distributed import wait as cluster_wait
    except ImportError:
        raise ValueError(
            "a cluster must have the package distributed, got none: install the trainer with its extra, "
            "like pip install 'scs-lead-trainer[cluster]'"
        ) from None
    try:
        client = Client(address, timeout=10)
    except (OSError, ValueError) as error:
        raise ValueError(
            f"cluster must be the address of a scheduler that answers, got {address!r} "
            f"({' '.join(str(error).split())}): write like tcp://host:8786"
        ) from None

    def submit(work, *arguments):
        return client.submit(work, *arguments, pure=False)

    def finished(futures):
        try:
            return cluster_wait(futures, timeout=0.2, return_when="FIRST_COMPLETED").done
        except TimeoutError:
            return set()

    try:
        yield submit, finished
    finally:
        client.close()


def _handed_out(cases, work, question, submit, finished, room):
    """Yield records as they finish; at most `room` are under way at once."""
    waiting, running = deque(cases), set()
    try:
        while waiting or running:
            while waiting and len(running) < room:
                running.add(submit(work, waiting.popleft(), question))
            done = finished(list(running))
            running -= set(done)
            yield [future.result() for future in done]
    finally:
        for future in running:
            future.cancel()


def _records(cases, work, question, workers, cluster):
    """Yield lists of records as they finish, wherever they are computed."""
    if cluster is None and workers == 1:
        yield from ([work(case, question)] for case in cases)
        return
    with _cluster(cluster) if cluster is not None else _pool(workers) as (submit, finished):
        yield from _handed_out(cases, work, question, submit, finished, workers + WAITING)


def ask_all(cases, work, question, *, path, workers=1, cluster=None, progress=None, cancelled=None):
    """Return the records of all cases, in their order; those already in the file are not asked again.

    Parameters
    ----------
    cases : sequence of str
        Each once.
    work : callable
        work(case, question) -> record, a dict of plain values with "case"; a module's own function, so that
        another process finds it.
    question : object
        Picklable; its told() goes into the first line of the file.
    path : str or Path
        File of JSON lines.
    workers : int
        Processes here; with a cluster, how many tasks it is given at once.
    cluster : str or None
        Address of a Dask scheduler whose workers have this program.
    progress, cancelled : callable or None
        progress(done, total, words) after each record; a true cancelled() ends the run.

    Raises
    ------
    ValueError
        If a case is named twice, the file belongs to another question, or no cluster answers.
    CancelledError
        If the run was cancelled.
    """
    cases = list(cases)
    if len(set(cases)) != len(cases):
        twice = next(case for case in cases if cases.count(case) > 1)
        raise ValueError(f"cases must be named once each, got {twice!r} twice: leave one out")
    if workers < 1:
        raise ValueError(f"workers must be at least 1, got {workers}: one process does all in turn")
    ledger = Ledger(path, question.told())
    left = [case for case in cases if case not in ledger.records]
    report = progress or (lambda done, total, words: None)
    report(len(cases) - len(left), len(cases), "asking")
    done = len(cases) - len(left)
    # Closed at once whatever ends the loop, so that workers do not outlive it.
    with closing(_records(left, work, question, workers, cluster)) as batches:
        for record in (record for batch in batches for record in batch):
            ledger.add(record)
            done += 1
            report(done, len(cases), record["case"])
            if cancelled is not None and cancelled():
                raise CancelledError(
                    f"{ledger.path}: cancelled after {done} of {len(cases)} cases: start again to go on"
                )
    ledger.put_in_order(cases)
    return [ledger.records[case] for case in cases]
