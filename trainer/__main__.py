"""`python -m trainer` is the command `trainer`."""

from trainer.cli import main

main()
