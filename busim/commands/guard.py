"""The guard round every command: whatever happens in it becomes one clear line and an exit status, never a traceback."""

import functools
import os
import sys
from collections.abc import Callable
from typing import Final, ParamSpec

import typer

from busim import labels
from busim.commands import ending
from busim.host.host import NodeError
from busim.reading.problem import InputError, printable
from busim.simulator.kinds import KindError

P = ParamSpec("P")

SHOW_TRACEBACK: Final = "BUSIM_TRACEBACK"
"""Set this in the environment to see where busim itself went wrong."""


def guarded(command: Callable[P, int]) -> Callable[P, None]:
    """A command that returns its exit status, as one that ends with it."""

    @functools.wraps(command)
    def run(*arguments: P.args, **options: P.kwargs) -> None:
        raise typer.Exit(_status(lambda: command(*arguments, **options)))

    return run


def _status(command: Callable[[], int]) -> int:
    try:
        status = command()
        sys.stdout.flush()
        return status
    except InputError as error:
        ending.say_error(str(error))
        return ending.BAD_INPUT
    except (KindError, NodeError) as error:
        ending.say_error(printable(str(error)))
        return ending.BAD_INPUT
    except ending.ContradictionError as error:
        ending.say_error(str(error))
        return ending.CONTRADICTION
    except BrokenPipeError:
        ending.hush()
        return ending.PASSED
    except KeyboardInterrupt:
        ending.say_error(labels.STOPPED)
        return ending.INTERRUPTED
    except OSError as error:
        # Every file busim itself opens has been asked for by then: what has no name is the output.
        ending.hush()
        ending.say_error(f"{printable(str(error.filename or labels.OUTPUT))}: {error.strerror or error}")
        return ending.BAD_INPUT
    except SystemExit:
        # busim never does this: a builder's own module or class did.
        ending.say_error(labels.ENDED_BY_NODE)
        return ending.BAD_INPUT
    except Exception as error:
        if os.environ.get(SHOW_TRACEBACK):
            raise
        what = f"{type(error).__name__}: {printable(str(error))}"
        ending.say_error(f"busim itself went wrong ({what}): set {SHOW_TRACEBACK}=1 to see where")
        return ending.CONTRADICTION
