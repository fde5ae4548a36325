"""A segment with noise on it, or with a controller that waits to come back from bus-off. Others never run this code.

A frame that is hit is followed bit by bit: each receiver reads what it sees (`busim.bus.reception`), the first error active
member to find an error signals it from the next bit on, the others answer, and the length of the flags laid over one another
comes out as the specification has it, 6 to 12 bits. Source: Bosch, CAN Specification 2.0, 1991, part A, ss. 3.1.2, 6, 7, 8.

Model assumptions: a bit of the arbitration field that a sender reads back wrong is a bit error to it; of an error frame only
the delimiter can be hit, where it starts the error anew; nothing wrong gets past the CRC.
"""

from busim.bus.controller import Controller, Request
from busim.bus.outcome import Outcome
from busim.bus.reception import NO_ERROR_FOUND, TAIL, error_found_at
from busim.bus.segment import DISTURBED, NO_ERROR, UNACKNOWLEDGED, Segment
from busim.frames.layout import (
    ERROR_DELIMITER_BITS,
    ERROR_FLAG_BITS,
    INTERMISSION_BITS,
    RECESSIVE_SEQUENCE_BITS,
    wire_bits,
)
from busim.seam import BUS_OFF, ERROR_ACTIVE

_AFTER_FLAGS_BITS = ERROR_DELIMITER_BITS + INTERMISSION_BITS
_NEVER_SEEN = 1 << 20


class TroubledSegment(Segment):
    """A `Segment` changes its class to this one and back (`look_closer`): it has the same fields."""

    __slots__ = ()

    # ------------------------------------------------------------------------------------------------ noise

    def _transmit(self, now_ns: int, sender: Controller, request: Request) -> None:
        super()._transmit(now_ns, sender, request)
        if self.busy:
            self.disturb(now_ns, now_ns)

    def _start_tied(self, now_ns: int, ties: list[tuple[Controller, Request]]) -> None:
        super()._start_tied(now_ns, ties)
        if self.busy:
            self.disturb(now_ns, now_ns)

    def disturb_now(self, now_ns: int) -> None:
        """Noise begins: the frame under way is hit from this moment on."""
        if self.busy and self.error == NO_ERROR and self.outcome is None:
            bits = len(wire_bits(self.can_id, self.data)) + len(TAIL)
            self.disturb((self.next_key >> 1) - (bits - 1) * self.bit_ns, now_ns)

    def disturb(self, start_ns: int, from_ns: int) -> None:
        """Work out what noise does, from `from_ns` on, to the frame that started at `start_ns`."""
        if self.error == DISTURBED or not self.bus.disturbances:
            return
        stuffed = wire_bits(self.can_id, self.data)
        bits = (*stuffed, *TAIL)
        first = -(-(from_ns - start_ns) // self.bit_ns)
        hits = self._hits(start_ns, len(bits), first)
        if not hits:
            return
        senders = [self.sender, *(controller for controller, _ in self.ties)]
        if self.error == UNACKNOWLEDGED:
            self._disturb_unheard(start_ns, len(stuffed) + 1, hits.get(self.sender, []))
            return
        receivers = self._receivers(senders)
        found: dict[Controller, int] = {}
        for sender in senders:
            if sender in hits:
                found[sender] = hits[sender][0]
        if found and not self.ties and self.sender.state != ERROR_ACTIVE:
            bits = bits[: found[self.sender] + 1] + (1,) * (len(bits) - found[self.sender] - 1)
        for receiver in receivers:
            seen = _flipped(bits, hits.get(receiver, []))
            at = error_found_at(seen, stuffed)
            if at != NO_ERROR_FOUND:
                found[receiver] = at
        self._settle_outcome(start_ns, bits, senders, receivers, hits, found)

    def _hits(self, start_ns: int, bits: int, first: int) -> dict[Controller, list[int]]:
        """Which bits each member reads as their opposite."""
        flips: dict[Controller, set[int]] = {}
        for disturbance in self.bus.disturbances:
            hit = [bit for bit in disturbance.in_frame(self.sender.place, start_ns, self.bit_ns, bits) if bit >= first]
            if hit:
                for member in self.members:
                    if member.listening and disturbance.seen_at(member.place):
                        flips.setdefault(member, set()).update(hit)
        return {member: sorted(hit) for member, hit in flips.items()}

    def _receivers(self, senders: list[Controller]) -> list[Controller]:
        hears = self.bus.wiring.hears
        return [
            member
            for member in self.members
            if member.listening
            and member not in senders
            and member not in self.late
            and hears(member.place, self.sender.place)
        ]

    def _disturb_unheard(self, start_ns: int, ack_slot: int, hits: list[int]) -> None:
        """A frame nobody hears: its sender may find a bit error before it misses the acknowledgement."""
        if hits and hits[0] < ack_slot:
            self.error = DISTURBED
            self._fail_from(start_ns + (hits[0] + 1) * self.bit_ns, ERROR_FLAG_BITS, [])

    def _settle_outcome(
        self,
        start_ns: int,
        bits: tuple[int, ...],
        senders: list[Controller],
        receivers: list[Controller],
        hits: dict[Controller, list[int]],
        found: dict[Controller, int],
    ) -> None:
        last_bit = len(bits) - 1
        valid_at = last_bit - 1
        """Receivers have accepted the frame once this bit has passed."""
        active = [at for member, at in found.items() if member.state == ERROR_ACTIVE]
        first = min(active, default=_NEVER_SEEN)
        if first == _NEVER_SEEN:
            failed = [found[sender] for sender in senders if sender in found]
            blamed = [(member, 1) for member in found if member not in senders]
            end_ns = start_ns + (last_bit + 1 + INTERMISSION_BITS) * self.bit_ns
            if failed:
                end_ns = max(end_ns, start_ns + (failed[0] + 1 + ERROR_FLAG_BITS + _AFTER_FLAGS_BITS) * self.bit_ns)
            if failed or blamed:
                self._keep_outcome(Outcome(blamed, start_ns, 0, end_ns, senders_fail=bool(failed)))
            return
        # From the bit after `first` on the bus is dominant, and everybody else finds that out within six bits.
        held = bits[: first + 1] + (0,) * ERROR_FLAG_BITS
        answers = [first]
        accepted = []
        blamed = []
        for member in receivers:
            at = found.get(member, _NEVER_SEEN)
            if at > first:
                seen_hits = [bit for bit in hits.get(member, []) if bit <= first]
                at = error_found_at(_flipped(held, seen_hits))
                if at == NO_ERROR_FOUND:  # it has accepted the frame: a dominant bit after that is an overload flag's cause
                    accepted.append(member)
                    at = first if first in seen_hits else first + 1
            found[member] = at
            if member.state == ERROR_ACTIVE:
                answers.append(at)
        for sender in senders:
            if found.get(sender, _NEVER_SEEN) > first:
                found[sender] = next((bit for bit in range(first + 1, len(bits)) if bits[bit]), last_bit + 1)
            if sender.state == ERROR_ACTIVE:
                answers.append(found[sender])
        last = max(answers)
        for member in receivers:
            if member not in accepted:
                # Rule 2: 8 more where the bit after its own flag is dominant, as others still signal.
                longer = member.state == ERROR_ACTIVE and found[member] < last
                blamed.append((member, 9 if longer else 1))
        error_ns = start_ns + (first + 1) * self.bit_ns
        flag_bits = last - first + ERROR_FLAG_BITS
        if first < valid_at:
            self.error = DISTURBED
            self._fail_from(error_ns, flag_bits, blamed)
        else:
            end_ns = error_ns + (flag_bits + _AFTER_FLAGS_BITS) * self.bit_ns
            self._keep_outcome(Outcome(blamed, error_ns, flag_bits, end_ns, senders_fail=True))

    def _keep_outcome(self, outcome: Outcome) -> None:
        """Whoever rejects the frame that others accept is left out at its end."""
        self.outcome = outcome
        self.late += [member for member, _ in outcome.blamed]
        self.sender.routes.pop(self.can_id, None)

    # ------------------------------------------------------------------------------------------------ error frames

    def _fail_from(self, error_ns: int, flag_bits: int, blamed: list[tuple[Controller, int]]) -> None:
        """Flags begin at `error_ns`. Where noise hits the delimiter after them, the error is over there and another begins."""
        delimiter_ns = error_ns + flag_bits * self.bit_ns
        end_ns = delimiter_ns + _AFTER_FLAGS_BITS * self.bit_ns
        self.outcome = Outcome(blamed, error_ns, flag_bits, end_ns, senders_fail=True)
        self.free_ns = end_ns
        for disturbance in self.bus.disturbances:
            hit = disturbance.in_delimiter(delimiter_ns, self.bit_ns, ERROR_DELIMITER_BITS)
            if hit and any(self._signals(member) and disturbance.seen_at(member.place) for member in self.members):
                self.free_ns = min(self.free_ns, delimiter_ns + (hit[0] + 1) * self.bit_ns)
        self.next_key = self.free_ns * 2

    @staticmethod
    def _signals(member: Controller) -> bool:
        return member.listening and member.state == ERROR_ACTIVE

    def _end_error(self, now_ns: int) -> None:
        outcome = self.outcome
        if outcome is not None and now_ns < outcome.end_ns:
            self._begin_error_anew(now_ns)
        elif self.sender.state == BUS_OFF:  # it went off in the middle of the error
            self.error = NO_ERROR
            self.ties = ()
            self.late = []
            self._count_bad_reception(now_ns, [])
            self.seek_start()
        else:
            super()._end_error(now_ns)

    def _begin_error_anew(self, now_ns: int) -> None:
        """The delimiter was hit: a form error, which everybody signals, at this bit or, having seen a flag, at the next one."""
        left = []
        senders = [] if self.sender.state == BUS_OFF else [(self.sender, self.request), *self.ties]
        for controller, request in senders:
            self._count_failure(now_ns, controller, now_ns)
            if controller.state != BUS_OFF:
                left.append((controller, request))
        self._count_bad_reception(now_ns, [controller for controller, _ in senders])
        if left:
            (self.sender, self.request), *ties = left
            self.ties = tuple(ties)
        self.busy = True
        self._fail_from(now_ns, ERROR_FLAG_BITS, [(member, 1) for member in self._others(left)])

    def _others(self, senders: list[tuple[Controller, Request]]) -> list[Controller]:
        sending = [controller for controller, _ in senders]
        return [member for member in self.members if member.listening and member not in sending]

    def _count_bad_reception(self, now_ns: int, senders: list[Controller]) -> None:
        outcome, self.outcome = self.outcome, None
        if outcome is None:
            super()._count_bad_reception(now_ns, senders)
            return
        for member, amount in outcome.blamed:
            if member.listening and member not in senders:
                self.dirty = True
                if member.receive_error(amount):
                    self.bus.state_changed(now_ns, member)

    def _count_good_reception(self, now_ns: int) -> None:
        """Who rejected the frame has not received it well."""
        outcome = self.outcome
        rejected = {member: member.rec for member, _ in outcome.blamed} if outcome is not None else {}
        for member in rejected:
            member.rec = 0
        super()._count_good_reception(now_ns)
        for member, rec in rejected.items():
            member.rec = rec
            self.dirty = True

    def _lose_frame(self, now_ns: int) -> None:
        self.outcome = None
        super()._lose_frame(now_ns)

    # ------------------------------------------------------------------------------------------------ a frame's end

    def finish(self, now_ns: int) -> None:
        if not self.busy:
            self._come_back(now_ns)
            return
        outcome = self.outcome
        if self.error == NO_ERROR and outcome is not None:
            if outcome.senders_fail:
                self._accept_and_fail(now_ns, outcome)
                return
            super().finish(now_ns)
            self._count_bad_reception(now_ns, [self.sender])
        else:
            super().finish(now_ns)
        if not self.busy:
            self._recessive_again()

    def _accept_and_fail(self, now_ns: int, outcome: Outcome) -> None:
        """Some accept the frame, and its sender takes it for failed and sends it again: those get it twice."""
        route = self._who_hears()
        index = self.bus.index
        if route[0]:
            self.bus.journal.frame(now_ns, index, self.can_id, self.data, route[0])
        for host, handler in route[1]:
            actions = handler(host.own_ns(now_ns), index, self.can_id, self.data)
            if actions:
                host.act(now_ns, actions)
        self.error = DISTURBED
        if outcome.flag_bits:
            self._fail_from(outcome.error_ns, outcome.flag_bits, outcome.blamed)
        else:
            self._fail(outcome.end_ns, 0)

    # ------------------------------------------------------------------------------------------------ back from bus-off

    def arbitrate(self, now_ns: int) -> None:
        super().arbitrate(now_ns)
        if self.busy:
            self._count_runs(now_ns)

    def hand_over(self, now_ns: int) -> None:
        if self.busy:
            for member in self.members:
                member.recessive_from_ns = now_ns
        else:
            self._count_runs(now_ns)

    def _count_runs(self, now_ns: int) -> None:
        """The bus was recessive up to now: count the runs of 11 bits."""
        run_ns = RECESSIVE_SEQUENCE_BITS * self.bit_ns
        for member in self.members:
            if member.recessive_left and member.recessive_from_ns < now_ns:
                member.recessive_left = max(member.recessive_left - (now_ns - member.recessive_from_ns) // run_ns, 1)
                member.recessive_from_ns = now_ns

    def _recessive_again(self) -> None:
        """A frame or an error is over: its last 11 bits, from the ACK or the error delimiter on, were recessive."""
        began_ns = self.free_ns - RECESSIVE_SEQUENCE_BITS * self.bit_ns
        for member in self.members:
            if member.recessive_left and member.recessive_from_ns < began_ns:
                member.recessive_from_ns = began_ns
        self.seek_start()
        settle_again(self)

    def seek_start(self) -> None:
        super().seek_start()
        for member in self.members:
            if member.recessive_left:
                self.next_key = min(self.next_key, self._back_at_ns(member) * 2)

    def _back_at_ns(self, member: Controller) -> int:
        return member.recessive_from_ns + member.recessive_left * RECESSIVE_SEQUENCE_BITS * self.bit_ns

    def _come_back(self, now_ns: int) -> None:
        """Somebody may have seen 128 runs of 11 recessive bits: it is error active again, with both counts at zero."""
        for member in self.members:
            if member.recessive_left and self._back_at_ns(member) <= now_ns:
                member.reset(listening=True)
                self.bus.state_changed(now_ns, member)
        self.seek_start()
        settle_again(self)


def _flipped(bits: tuple[int, ...], hits: list[int]) -> list[int]:
    seen = list(bits)
    for hit in hits:
        seen[hit] = 1 - seen[hit]
    return seen


def look_closer(segment: Segment) -> None:
    """From now on this segment minds noise and recovery."""
    if type(segment) is Segment:
        segment.__class__ = TroubledSegment


def settle_again(segment: Segment) -> None:
    """Back to the plain class where nothing is left to mind."""
    if not (segment.busy or segment.bus.disturbances or any(member.recessive_left for member in segment.members)):
        segment.__class__ = Segment
