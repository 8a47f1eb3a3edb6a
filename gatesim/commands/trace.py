"""``gatesim trace``."""

from pathlib import Path

import click

from gatesim.commands.output import say, say_json


@click.command("trace")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Draw the timing diagram to a PNG, SVG or PDF file.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print transition lists, moments and counts, SI.")
def command(file: Path, output: Path | None, as_json: bool) -> None:
    """Follow one nominal passage through light, sensor, input filter and counter.

    Without options the moments are printed in order.
    """
    from gatesim.prediction.trace import trace
    from gatesim.scenario import load
    from gatesim.view.style import check_figure, save
    from gatesim.view.tracetext import trace_text

    check_figure(output)
    followed = trace(load(file))
    if output is not None:
        from gatesim.view.timing import timing_diagram

        save(timing_diagram(followed)[0, 0], output)
    say_json(followed.as_json()) if as_json else say(trace_text(followed))
