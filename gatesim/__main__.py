"""Run the command line as ``python -m gatesim``."""

from gatesim.commands.main import main

main()
