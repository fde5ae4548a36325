"""The shortest scenarios in which twins still fail what they are for, as `shortest/NAME.yaml`.

    python -m tests.twins.shorten [NAME...]     all of them: half an hour; afterwards look at what changed

Each is made from the scenario in which the twin is caught (`table.py`) by `busim.run.shrink`, at seed 1.
"""

import sys
from pathlib import Path

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.run.shrink import shrink
from busim.scenario.load import load_scenario
from busim.scenario.write import plain_scenario, scenario_text
from busim.simulator.kinds import load_kinds
from tests.twins.table import TWINS, Twin

SHORTEST = Path(__file__).parent / "shortest"


def shorten(twin: Twin) -> str:
    loaded = load_boat(shipped_folder() / twin.boat)
    caught = load_scenario(shipped_folder() / twin.boat / "scenarios" / f"{twin.scenario}.yaml", loaded.boat).scenario
    kinds = load_kinds({twin.kind: twin.place})
    return scenario_text(plain_scenario(shrink(loaded.boat, loaded.plan, kinds, caught, 1, twin.requirement).scenario))


def main() -> None:
    SHORTEST.mkdir(exist_ok=True)
    for twin in TWINS:
        if len(sys.argv) == 1 or twin.name in sys.argv[1:]:
            text = shorten(twin)
            (SHORTEST / f"{twin.name}.yaml").write_text(text)
            print(f"{twin.name}: {len(text.splitlines())} lines")


if __name__ == "__main__":
    main()
