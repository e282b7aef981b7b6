"""How far a long command is: a bar on a terminal, and plain lines anywhere else."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tqdm import tqdm


@contextmanager
def progress(told: str) -> Iterator[Callable[[float], None]]:
    """What is given shows the share that is done, from 0 to 1, on the standard error."""
    if not sys.stderr.isatty():
        yield _lines(told)
        return
    with tqdm(total=100, desc=told, unit="%", file=sys.stderr, leave=False) as bar:

        def shown(share: float) -> None:
            bar.update(int(share * 100) - bar.n)

        yield shown


def _lines(told: str) -> Callable[[float], None]:
    """A line for each tenth that is done."""
    said = 0

    def shown(share: float) -> None:
        nonlocal said
        if int(share * 10) > said:
            said = int(share * 10)
            print(f"{told}: {10 * said}%", file=sys.stderr, flush=True)

    return shown
