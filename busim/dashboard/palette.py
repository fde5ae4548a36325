"""Everything there is, by name: what the palette finds."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from textual.app import SystemCommand

from busim import screen_labels as labels
from busim.dashboard.looks import LOOKS
from busim.rehearsal.guides import GUIDES, title_of

if TYPE_CHECKING:
    from busim.dashboard.keyed import Keyed


def commands(app: "Keyed") -> Iterator[SystemCommand]:
    rehearsal = app.rehearsal
    for view, name in labels.VIEWS.items():
        yield SystemCommand(labels.PALETTE_VIEW.format(view=name), "", lambda view=view: app.show_view(view))
    for number, look in enumerate(LOOKS):
        yield SystemCommand(labels.PALETTE_LOOK.format(look=labels.LOOKS[look.name]), "", lambda n=number: app.show_look(n))
    yield SystemCommand(labels.PALETTE_PAUSE, "", lambda: app.pace.pause(app.clock(), rehearsal.now_ns))
    yield SystemCommand(labels.PALETTE_HELP, "", app.show_help)
    yield SystemCommand(labels.PALETTE_TABLE, "", app.show_table)
    for guide in GUIDES:
        if guide.needs(rehearsal.boat):
            title = title_of(guide, rehearsal.boat)
            yield SystemCommand(labels.PALETTE_GUIDE.format(title=title), "", lambda guide=guide: app.be_led(guide))
    if app.guided is not None:
        yield SystemCommand(labels.PALETTE_LESS, "", lambda: app.be_led(None))
    if app.back is None:
        yield from _deeds(app)
    yield SystemCommand(labels.PALETTE_QUIT, "", app.exit)


def _deeds(app: "Keyed") -> Iterator[SystemCommand]:
    """What is done to the boat."""
    for station in app.rehearsal.boat.stations:
        yield SystemCommand(labels.PALETTE_TAKE.format(station=station), "", lambda at=station: app.press("take", at))
        yield SystemCommand(labels.PALETTE_NEUTRAL.format(station=station), "", lambda at=station: app.press("neutral_now", at))
    for number, (fault, words, _) in enumerate(app.fault_names):
        yield SystemCommand(labels.PALETTE_FAULT.format(fault=fault), words, lambda n=number: app.show_fault(n))
    for number, (fault, place) in app.rehearsal.on.items():
        where = app.words_of_place(fault, place)
        yield SystemCommand(labels.PALETTE_MEND.format(fault=fault, place=where), "", lambda n=number: app.mend(n))
