"""busim: rehearse, break and prove a boat's CAN-wired lights and helm before it moves."""

from typing import Final

VERSION: Final = "0.1.0"
