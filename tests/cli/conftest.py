"""Shared by the tests of the command line."""

import pytest

from trainer.cli import main


@pytest.fixture
def run(capsys):
    """Return a function that runs the command line and gives (exit code, standard output, standard error)."""

    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return ended.value.code, captured.out, captured.err

    return run
