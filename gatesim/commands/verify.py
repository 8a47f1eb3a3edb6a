"""``gatesim verify``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import JSON, output, show


@click.command("verify", cls=Command)
@click.option("--quick", is_flag=True, help="Only the checks that take next to no time.")
@output("page", "Write the evidence as an HTML page that prints.")
@JSON
def command(quick: bool, output: Path | None, as_json: bool) -> int:
    """Show that this installation computes right.

    Claims over the whole chain are held against standards, papers, handbooks and independent
    libraries; each with its source, the published value, ours and the tolerance. What needs a
    library that is not installed is not run, and said so. Exit code 1 if a check fails.
    """
    from gatesim.api.verify import verify

    result = verify(quick=quick)
    show(result, as_json)
    if output is not None:
        result.save(output)
    return 1 if result.failed else 0
