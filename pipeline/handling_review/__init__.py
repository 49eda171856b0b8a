"""Safe-handling program review: injury log, hours worked and training dates in, one review out."""

from importlib.metadata import version

__version__ = version("handling-review")
