"""A bench run as its command, for tests that talk to it or open its page."""

import subprocess
import sys
from contextlib import contextmanager
from urllib.parse import urlsplit


class Running:
    """Process, address, and requests to it."""

    def __init__(self, process, address):
        self.process, self.address = process, address
        parts = urlsplit(address)
        self.host, self.port, self.path = parts.netloc, parts.port, parts.path


@contextmanager
def running(*arguments, cwd=None):
    """``gatesim bench`` with these arguments; ended by Ctrl-C's signal, or killed."""
    process = subprocess.Popen(
        [sys.executable, "-m", "gatesim", "bench", "--no-browser", *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        cwd=cwd,
    )
    try:
        yield Running(process, process.stdout.readline().strip())
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
        process.stdout.close()
