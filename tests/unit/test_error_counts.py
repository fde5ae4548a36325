"""A controller's error counts against a second, plain model of the rules.

Source: Bosch, CAN Specification 2.0, 1991, part A, s. 8, "fault confinement". What it says, in short: (1) a receiver that finds an
error counts 1; (2) 8 where a dominant bit follows its flag; (3) a transmitter that sends a flag counts 8, but for an
acknowledgement error while error passive; (7) a good transmission takes 1 off, not below 0; (8) a good reception takes 1 off from
1 to 127, leaves 0, and sets what is above to between 119 and 127; (9) error passive from 128 of either; (10) bus-off from 256 of
the transmit count; (11) error active again with both at 127 or below; (12) bus-off to error active with both at 0.
"""

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE
from tests.unit.small_bus import SmallBus


class AgainstTheRules(RuleBasedStateMachine):
    """`tec` and `rec` are kept here by the rules alone; the receive count may only be known to lie in a range (rule 8)."""

    def __init__(self) -> None:
        super().__init__()
        self.one = SmallBus(1).controller("a")
        self.tec = 0
        self.least_rec = self.most_rec = 0

    def state(self) -> set[int]:
        if self.tec >= 256:
            return {BUS_OFF}
        if self.tec >= 128 or self.least_rec >= 128:
            return {ERROR_PASSIVE}
        return {ERROR_ACTIVE} if self.most_rec < 128 else {ERROR_ACTIVE, ERROR_PASSIVE}

    def on_bus(self) -> bool:
        return self.tec < 256

    def note(self, before: int, changed: bool) -> None:
        assert changed == (self.one.state != before), "it says whether its state changed"

    @precondition(on_bus)
    @rule()
    def sends_well(self) -> None:
        before = self.one.state
        changed = self.one.transmitted()
        self.tec = max(self.tec - 1, 0)
        self.note(before, changed)

    @precondition(on_bus)
    @rule(acknowledgement=st.booleans(), times=st.integers(1, 12))
    def fails(self, acknowledgement: bool, times: int) -> None:
        for _ in range(times):
            if not self.on_bus():
                return
            before = self.one.state
            passive = self.tec >= 128 or self.least_rec >= 128
            changed = self.one.transmit_error(acknowledgement=acknowledgement)
            if not (acknowledgement and passive):
                self.tec += 8
            self.note(before, changed)

    @precondition(on_bus)
    @rule()
    def receives_well(self) -> None:
        before = self.one.state
        if self.one.rec:
            changed = self.one.received()
            if self.least_rec > 127:
                self.least_rec, self.most_rec = 119, 127
            else:
                self.least_rec, self.most_rec = max(self.least_rec - 1, 0), max(self.most_rec - 1, 0)
            self.note(before, changed)

    @precondition(on_bus)
    @rule(amount=st.sampled_from([1, 8, 9]), times=st.integers(1, 12))
    def hears_an_error(self, amount: int, times: int) -> None:
        for _ in range(times):
            before = self.one.state
            changed = self.one.receive_error(amount)
            self.least_rec += amount
            self.most_rec += amount
            self.note(before, changed)

    @rule()
    def comes_back(self) -> None:
        """A reset, or rule 12."""
        self.one.reset(listening=True)
        self.tec = self.least_rec = self.most_rec = 0

    @precondition(on_bus)
    @rule()
    def is_sent_off(self) -> None:
        self.one.go_off()
        self.tec = 256
        assert not self.one.listening

    @invariant()
    def agrees(self) -> None:
        assert self.one.tec == self.tec
        # Beyond passive the count is held at 255: how high it is makes no difference to any rule.
        assert min(self.least_rec, 255) <= self.one.rec <= self.most_rec
        assert self.one.state in self.state()
        self.least_rec = max(self.least_rec, self.one.rec) if self.one.rec < 255 else self.least_rec
        self.most_rec = min(self.most_rec, self.one.rec) if self.one.rec < 255 else self.most_rec


TestAgainstTheRules = AgainstTheRules.TestCase
TestAgainstTheRules.settings = settings(max_examples=80, stateful_step_count=40, deadline=None)
