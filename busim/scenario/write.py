"""A scenario as the text of a scenario file, one entry a line. What reads it back is `busim.scenario.load`."""

import json
from decimal import Decimal
from typing import Any, Final

from busim.scenario.model import ScenarioFile

_NOT_PLAIN: Final = ("on", "off", "yes", "no", "true", "false", "null", "y", "n")
"""Words that some reader of YAML takes for something else."""


def plain_scenario(scenario: ScenarioFile) -> dict[str, Any]:
    """As plain values, without what says no more than leaving it out."""
    return scenario.model_dump(mode="json", exclude_none=True, exclude_defaults=True)


def scenario_text(scenario: dict[str, Any]) -> str:
    """The file's text, from plain values: those of `plain_scenario`, or made by hand with the keys of the scenario file."""
    lines = [f"{key}: {_flow(scenario[key])}" for key in ("scenario", "words", "lasts_s") if key in scenario]
    for section in ("actions", "faults"):
        if scenario.get(section):
            lines.append(f"{section}:")
            for entry in scenario[section]:
                lines.append("  - " + "\n    ".join(f"{key}: {_flow(value)}" for key, value in entry.items()))
    if scenario.get("expect"):
        lines.append("expect:")
        lines += [f"  {identity}: {_flow(verdict)}" for identity, verdict in scenario["expect"].items()]
    return "\n".join(lines) + "\n"


def _flow(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_flow(each) for each in value) + "]"
    if isinstance(value, str):
        bare = value.replace("_", "").replace("-", "").replace(" ", "")
        plain = bare.isascii() and bare.isalnum() and value[:1].isalpha() and value[-1:] != " " and value.lower() not in _NOT_PLAIN
        return value if plain else json.dumps(value, ensure_ascii=False)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value == int(value) else f"{Decimal(repr(value)):f}"
    return str(value)
