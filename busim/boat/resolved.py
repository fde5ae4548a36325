"""Every value of a boat, one a line, with where it comes from: its line, a type, a default with its reason, or a derivation."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Final

from pydantic import BaseModel

from busim.boat.derive import actuator_of, board_of, limits_of, shift_rpm_of, turning_diameter_of
from busim.boat.load import LoadedBoat
from busim.boat.model import Actuator, BoatFile, Drive, Hull, Node
from busim.reading.problem import printable, quoted
from busim.reading.tree import Loc, Positions

_LONGEST_WORDS: Final = 400

Value = tuple[Loc, Any, str]
"""Where it stands, what it is, where it comes from."""


def resolved_lines(loaded: LoadedBoat) -> Iterator[str]:
    """The lines of `busim check --resolved`, in the order of the model."""
    for loc, value, source in _Resolver(loaded.boat, loaded.document.positions).walk((), loaded.boat):
        yield f"{_dotted(loc)} = {_shown(value)}  ({source})"
    for name, fingerprint in (("helm", loaded.plan.helm_fingerprint), ("lighting", loaded.plan.lighting_fingerprint)):
        yield f"fingerprints.{name} = {fingerprint:04x}  (derived)"


@dataclass(frozen=True)
class _Resolver:
    boat: BoatFile
    positions: Positions

    def walk(self, loc: Loc, value: Any, description: str = "") -> Iterator[Value]:
        if isinstance(value, Node):
            yield from self._section(loc, value, self._board_values(loc, value))
        elif isinstance(value, Actuator) and loc[0] != "types":
            yield from self._section(loc, value, self._actuator_values(value))
        elif isinstance(value, Drive):
            yield from self._section(loc, value, self._derived_values(value))
            yield from self._limits(loc, value)
        elif isinstance(value, Hull):
            diameter_m = (turning_diameter_of(self.boat), "derived: 3.5 waterlines")
            yield from self._section(loc, value, {"turning_diameter_m": diameter_m})
        elif isinstance(value, BaseModel):
            yield from self._section(loc, value, {})
        elif isinstance(value, dict) and value:
            for key, inner in value.items():
                yield from self.walk((*loc, key), inner)
        elif isinstance(value, tuple | list) and any(isinstance(item, BaseModel | dict | list) for item in value):
            for index, item in enumerate(value):
                yield from self.walk((*loc, index), item)
        else:
            yield loc, value, self._source(loc, description)

    def _section(self, loc: Loc, section: BaseModel, filled_in: dict[str, tuple[Any, str]]) -> Iterator[Value]:
        """The fields of a section. `filled_in` has, for those left out, the value in force and where it comes from."""
        for name, information in type(section).model_fields.items():
            value = getattr(section, name)
            description = information.description or ""
            if value is None and name in filled_in:
                value, source = filled_in[name]
                yield (*loc, name), value, source + (f": {description}" if source == "default" and description else "")
            elif value is None and loc[:1] == ("types",):
                continue  # a type leaves it open: it has no value here, and stands with whoever uses the type
            else:
                yield from self.walk((*loc, name), value, description)

    def _board_values(self, loc: Loc, node: Node) -> dict[str, tuple[Any, str]]:
        values = asdict(board_of(self.boat, str(loc[-1])))
        return {name: (value, self._from_type(("types", "boards", node.board or "", name))) for name, value in values.items()}

    def _actuator_values(self, actuator: Actuator) -> dict[str, tuple[Any, str]]:
        values = asdict(actuator_of(self.boat, actuator))
        kind = ("types", "actuators", actuator.type or "")
        found = {name: (value, self._from_type((*kind, name))) for name, value in values.items()}
        spring = values["spring_mm_s"]
        if spring is not None and not self.positions.holds((*kind, "spring_mm_s")):
            found["spring_mm_s"] = (spring, "derived: as fast as it is under way")
        return found

    def _from_type(self, loc: Loc) -> str:
        return f"from {_dotted(loc[:-1])} line {self.positions.at(loc)[0]}" if self.positions.holds(loc) else "default"

    def _derived_values(self, drive: Drive) -> dict[str, tuple[Any, str]]:
        limits = limits_of(self.boat, drive)
        return {
            "shift_rpm": (shift_rpm_of(drive), "derived: 1.25 x idle_rpm"),
            "idle_wait_ms": (limits.idle_wait_ms, "derived: the limit less control timeout, half shift stroke and margin"),
            "loss_to_neutral_ms": (limits.loss_to_neutral_ms, "derived: max_run_m at docking_speed_kn"),
        }

    def _limits(self, loc: Loc, drive: Drive) -> Iterator[Value]:
        limits = limits_of(self.boat, drive)
        yield (*loc, "loss_to_idle_ms"), limits.loss_to_idle_ms, "derived: control timeout, full throttle stroke and margin"
        yield (*loc, "half_shift_ms"), limits.half_shift_ms, "derived: the slowest half stroke of the shift"
        yield (*loc, "full_throttle_ms"), limits.full_throttle_ms, "derived: the slowest full stroke of the throttle"

    def _source(self, loc: Loc, description: str) -> str:
        if self.positions.holds(loc):
            return f"line {self.positions.at(loc)[0]}"
        return "default" + (f": {description}" if description else "")


def _dotted(loc: Loc) -> str:
    text = ""
    for step in loc:
        text += f"[{step}]" if isinstance(step, int) else f".{printable(step)}" if text else printable(step)
    return text


def _shown(value: Any) -> str:
    if value is None or value in ((), {}, []):
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, tuple | list):
        return f"[{', '.join(map(_shown, value))}]"
    if isinstance(value, str):
        return value if value.isascii() and value.replace("_", "").isalnum() else quoted(value, _LONGEST_WORDS)
    return str(value)
