"""The scenario file's model. Each entry has its moment and says one thing: what somebody does, or what breaks.

Names are any words here: whether the boat has them, `busim.scenario.load` asks, and says what was probably meant.
"""

from typing import Any, Literal

from pydantic import Field, create_model, model_validator

from busim.boat.model import Section, Words
from busim.faults.table import FAULTS

ACTIONS = ("key", "touch", "switch", "lever", "wheel", "power", "crank", "engines", "stream")
EXPECTATIONS = ("pass", "fail", "not exercised", "accepted weakness")


class KeyAction(Section):
    station: Words | None = Field(default=None, description="the station whose key it is")
    node: Words | None = Field(default=None, description="or the alarm node, which has acknowledge and silence")
    name: Literal["take", "neutral_now", "acknowledge", "silence", "lock_out"] = Field(
        description="which key; lock_out acts once it was held for 3 s (for_ms: 3200)"
    )
    for_ms: int = Field(default=200, ge=1, le=600_000)


class TouchAction(Section):
    panel: Words
    control: Words
    for_ms: int = Field(default=150, ge=1, le=600_000)


class SwitchAction(Section):
    light: Words = Field(description="a zone with wired_switch, or a navigation light with one")
    on: bool


class LeverAction(Section):
    station: Words
    drive: Words
    to_permille: int = Field(ge=-1000, le=1000, description="-1000 full astern, 0 neutral, 1000 full ahead")
    over_ms: int = Field(default=300, ge=0, le=600_000)


class WheelAction(Section):
    station: Words
    to_permille: int = Field(ge=-1000, le=1000, description="-1000 full port, 0 midships, 1000 full starboard")
    over_ms: int = Field(default=500, ge=0, le=600_000)


class CrankAction(Section):
    drive: Words
    for_ms: int = Field(default=2000, ge=1, le=60_000, description="how long the start key is turned")


class EnginesAction(Section):
    running: bool = Field(description="whether the engines run when the scenario begins")


class StreamAction(Section):
    set_deg: int = Field(ge=0, le=359, description="where the water flows to, degrees of the compass; she starts heading north")
    kn: float = Field(ge=0, le=15, description="how fast")


class PowerAction(Section):
    node: Words
    on: bool


class Action(Section):
    """Somebody does something."""

    at_s: float = Field(ge=0, le=86_400, description="when, in seconds from the start")
    key: KeyAction | None = None
    touch: TouchAction | None = None
    switch: SwitchAction | None = None
    lever: LeverAction | None = None
    wheel: WheelAction | None = None
    power: PowerAction | None = None
    crank: CrankAction | None = None
    engines: EnginesAction | None = None
    stream: StreamAction | None = None

    @model_validator(mode="after")
    def _one_thing(self) -> "Action":
        _check_one_thing(self, ACTIONS)
        return self


def _check_one_thing(entry: Section, keys: tuple[str, ...]) -> None:
    said = [key for key in keys if getattr(entry, key) is not None]
    if len(said) != 1:
        words = f"this one says {' and '.join(said)}" if said else f"say one of {', '.join(keys)}"
        raise ValueError(f"an entry says one thing: {words}")


class _FaultBase(Section):
    at_s: float = Field(ge=0, le=86_400, description="when, in seconds from the start")
    for_s: float | None = Field(default=None, gt=0, le=86_400, description="how long; left out: to the end")

    @model_validator(mode="after")
    def _one_thing(self) -> "_FaultBase":
        _check_one_thing(self, tuple(fault.name for fault in FAULTS))
        return self


FaultEntry: Any = create_model(
    "FaultEntry",
    __base__=_FaultBase,
    __doc__="Something breaks.",
    **{fault.name: (fault.place | None, Field(default=None, description=fault.words)) for fault in FAULTS},  # type: ignore[call-overload]
)


class ScenarioFile(Section):
    scenario: Words = Field(description="what it is called")
    words: Words | None = Field(default=None, description="what it shows")
    lasts_s: float = Field(gt=0, le=86_400, description="how long the run is, in seconds")
    actions: tuple[Action, ...] = ()
    faults: tuple[FaultEntry, ...] = ()
    expect: dict[str, str] = Field(default_factory=dict, description="requirement: pass, fail, not exercised or accepted weakness")
