"""Run the command line as ``python -m gatesim``."""

from gatesim.cli import main

main()
