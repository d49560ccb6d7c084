"""Shared fixtures. The cache of a test run is its own, so that a user's cache is neither used nor touched."""

import os
import tempfile

# Before the first import of a kernel: numba reads the folder of its cache then.
os.environ.setdefault(
    "TRAINER_CACHE_DIR",
    os.path.join(tempfile.gettempdir(), f"trainer-tests-{os.getuid() if hasattr(os, 'getuid') else 0}"),
)

import pytest
from hypothesis import settings

# The first call of a kernel may compile for seconds; no example is worth a timed test.
settings.register_profile("trainer", deadline=None)
settings.load_profile("trainer")


@pytest.fixture(scope="session")
def anatomy():
    """Return the ordinary adult at default parameters."""
    from meshes.anatomy import build_anatomy

    return build_anatomy()


@pytest.fixture(scope="session")
def finished(tmp_path_factory):
    """Return the reference performer's attempt at the ordinary adult, what it did, and the journal's path."""
    from types import SimpleNamespace

    from scenarios import library
    from trainer.attempt.attempt import Attempt
    from trainer.attempt.journal import Journal
    from trainer.attempt.performer import perform

    scenario = library.load("ordinary-adult")
    path = tmp_path_factory.mktemp("finished") / "attempt.jsonl"
    with Journal.create(path, scenario=scenario, seed=scenario.seed) as journal:
        attempt = Attempt(scenario, journal=journal)
        performance = perform(attempt)
    return SimpleNamespace(attempt=attempt, performance=performance, path=path)
