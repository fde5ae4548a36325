"""Where the boats that ship with busim are."""

from pathlib import Path

import busim
from busim.reading.problem import refused


def shipped_folder() -> Path:
    """The folder of shipped boats: inside the installed package, else in the checkout beside it.

    An editable install lacks the copy inside the package, so the checkout is asked next.
    Errors: InputError where neither is there.
    """
    package = Path(busim.__file__).resolve().parent
    for folder in (package / "configs", package.parent / "configs"):
        if (folder / "first_boat" / "boat.yaml").is_file():
            return folder
    raise refused(package / "configs", "the boats that ship with busim are missing: install busim again")
