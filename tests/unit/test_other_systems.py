"""What Windows lacks, taken away: the commands that are said to run there load without it. No test of Windows itself."""

import subprocess
import sys

from tests.cli.command_line import ROOT, environment

WITHOUT = """
import os, signal, sys
for name in ("tty", "termios", "pty", "fcntl"):
    sys.modules[name] = None
del signal.SIGHUP, os.openpty
import busim.bench.hearing, busim.bench.plug, busim.commands.listen, busim.commands.plug
from busim.bench.doors import TerminalStream
from busim.bench.interrupts import Interrupts
with Interrupts():
    pass
try:
    TerminalStream()
except OSError as error:
    print("one line:", error.strerror)
"""


def test_listening_and_the_tcp_port_need_no_terminals_and_no_hang_up() -> None:
    done = subprocess.run([sys.executable, "-c", WITHOUT], cwd=ROOT, env=environment(), capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "one line: Function not implemented" in done.stdout
