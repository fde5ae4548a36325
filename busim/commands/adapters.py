"""Which adapters are there, and which one is meant: shared by the commands that speak to real hardware."""

from pathlib import Path

from busim import adapter_labels as words
from busim import bench_labels
from busim.commands import ending
from busim.commands.tables import table
from busim.reading.problem import refused

INTERFACE = Path("--interface")
CHANNEL = Path("--channel")
SIMULATED = "simulated"


def list_adapters(*, simulated: bool) -> int:
    """Prints what is there. `simulated`: no hardware at all is a choice too."""
    from busim.bench.adapter import adapters_found

    rows = [(found.interface, found.channel, found.words) for found in adapters_found()]
    if not rows:
        print(words.NO_ADAPTERS)
    if simulated:
        rows.append((SIMULATED, "", bench_labels.FOUND_SIMULATED))
    if rows:
        for line in table(words.ADAPTERS_HEAD, rows):
            print(line)
    return ending.PASSED


def wanted_adapter(interface: str | None, channel: str | None) -> tuple[str, str]:
    """What was named. Errors: InputError, with what is there."""
    if interface is not None and channel is not None:
        return interface, channel
    from busim.bench.adapter import adapters_found

    there = [f"--interface {found.interface} --channel {found.channel}" for found in adapters_found()]
    what = words.ADAPTERS_ARE.format(names="; ".join(there)) if there else words.NO_ADAPTERS
    raise refused(INTERFACE if interface is None else CHANNEL, words.ADAPTER_WANTED.format(there=what))
