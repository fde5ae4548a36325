"""The journal: everything that happened, in order, in blocks of one simulated second; the digest; who is told.

The digest is a hash chain over the blocks, of frames and events alike, whoever looks on: two runs with the same digest did
the same. Frames are hashed as packed integers, events as their JSON text.
"""

import hashlib
import json
from array import array
from collections.abc import Callable
from sys import byteorder
from typing import Any, Final, TypeAlias

DIGEST_VERSION: Final = 1

Frame: TypeAlias = tuple[int, int, int, bytes, int]
Event: TypeAlias = tuple[Any, ...]
FrameWatcher: TypeAlias = Callable[[int, int, int, bytes, int], None]
EventWatcher: TypeAlias = Callable[[Event], None]
BlockWatcher: TypeAlias = Callable[[list[Frame], list[Event], str], None]


class Journal:
    __slots__ = ("blocks", "by_channel", "chain", "event_watchers", "events", "frame_watchers", "frames", "output_watchers")

    def __init__(self) -> None:
        self.frames: list[Frame] = []
        self.events: list[Event] = []
        self.chain = hashlib.sha256(f"busim digest {DIGEST_VERSION}".encode()).digest()
        self.forget_watchers()

    def forget_watchers(self) -> None:
        self.frame_watchers: dict[int, tuple[FrameWatcher, ...]] = {}
        self.event_watchers: dict[str, tuple[EventWatcher, ...]] = {}
        self.output_watchers: tuple[tuple[EventWatcher, tuple[str, ...]], ...] = ()
        self.by_channel: dict[str, tuple[EventWatcher, ...]] = {}
        """Those of `output_watchers` that want a channel, once it was heard of."""
        self.blocks: tuple[BlockWatcher, ...] = ()

    def watch_frames(self, can_id: int, watcher: FrameWatcher) -> None:
        self.frame_watchers[can_id] = (*self.frame_watchers.get(can_id, ()), watcher)

    def watch_events(self, kind: str, watcher: EventWatcher) -> None:
        if kind == "output":
            self.watch_outputs(watcher)
            return
        self.event_watchers[kind] = (*self.event_watchers.get(kind, ()), watcher)

    def watch_outputs(self, watcher: EventWatcher, *channels: str) -> None:
        """Events of kind "output" of these channels, or all. A name that ends in a dot stands for all that begin with it.

        A throttle that follows its lever is most of all outputs, and most watchers want others.
        """
        self.output_watchers = (*self.output_watchers, (watcher, channels))
        self.by_channel = {}

    def _watchers_of(self, channel: str) -> tuple[EventWatcher, ...]:
        group = channel[: channel.find(".") + 1] or channel
        wanted = [watcher for watcher, channels in self.output_watchers if not channels or channel in channels or group in channels]
        self.by_channel[channel] = tuple(wanted)
        return self.by_channel[channel]

    def watch_blocks(self, watcher: BlockWatcher) -> None:
        """`watcher(frames, events, digest)` is called with each finished second."""
        self.blocks = (*self.blocks, watcher)

    def frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self.frames.append((now_ns, bus, can_id, data, mask))
        if can_id in self.frame_watchers:
            for watcher in self.frame_watchers[can_id]:
                watcher(now_ns, bus, can_id, data, mask)

    def event(self, now_ns: int, kind: str, *fields: int | str) -> None:
        event = (now_ns, len(self.frames), kind, *fields)
        self.events.append(event)
        if kind == "output" and self.output_watchers:
            channel = str(fields[1])
            for watcher in self.by_channel[channel] if channel in self.by_channel else self._watchers_of(channel):
                watcher(event)
        elif kind in self.event_watchers:
            for watcher in self.event_watchers[kind]:
                watcher(event)

    def close_block(self) -> None:
        """A simulated second is over: carry the chain on and hand the block to whoever keeps it."""
        frames = self.frames
        integers = array("q", bytes(24 * len(frames)))
        if frames:  # by columns: cheaper than a tuple of three for each
            times, buses, ids, payloads, masks = zip(*frames, strict=True)
            integers[0::3] = array("q", times)
            heads = zip(buses, ids, payloads, strict=True)
            integers[1::3] = array("q", [bus << 16 | can_id << 4 | len(data) for bus, can_id, data in heads])
            integers[2::3] = array("q", masks)
        if byteorder == "big":
            integers.byteswap()
        block = hashlib.sha256(self.chain)
        block.update(len(frames).to_bytes(4, "little"))
        block.update(integers.tobytes())
        block.update(b"".join([frame[3] for frame in frames]))
        if self.events:
            block.update(json.dumps(self.events, separators=(",", ":")).encode())
        self.chain = block.digest()
        for watcher in self.blocks:
            watcher(frames, self.events, self.digest)
        self.frames = []
        self.events = []

    @property
    def digest(self) -> str:
        """Of all closed blocks, as 32 hexadecimal digits."""
        return self.chain.hex()[:32]

    def __getstate__(self) -> tuple[Any, ...]:
        return (self.frames, self.events, self.chain)

    def __setstate__(self, state: tuple[Any, ...]) -> None:
        self.frames, self.events, self.chain = state
        self.forget_watchers()
