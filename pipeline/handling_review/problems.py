"""Problems a user can act on: one base class, one exit code a kind."""

from __future__ import annotations

EXIT_DONE = 0
EXIT_FINDINGS = 1


class ReviewProblem(Exception):
    """A problem with a sentence for the user and the exit code of its kind."""

    exit_code = 70


class UsageProblem(ReviewProblem):
    """The command was called with arguments that do not fit."""

    exit_code = 2


class ProgramProblem(ReviewProblem):
    """The program file (TOML) cannot be used as it stands."""

    exit_code = 3


class DataProblem(ReviewProblem):
    """The data files do not allow a true review."""

    exit_code = 4


class OutputProblem(ReviewProblem):
    """The output directory is no review, cannot be written, or another build holds it."""

    exit_code = 5
