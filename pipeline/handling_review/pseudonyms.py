"""Pseudonyms for employee ids: HMAC-SHA-256 with a secret of the facility, so that the database holds no id.

The same secret and id give the same pseudonym in every file and build. Whoever lacks the secret cannot try out ids, as
with a plain hash. Equality with leading zeros or case ignored is kept as pseudonyms of its own, for the cross-checks.
"""

from __future__ import annotations

import hmac
import os
import secrets
from pathlib import Path

import polars as pl

from handling_review.inputs import NotPlainFile, beside, open_plain
from handling_review.problems import ProgramProblem
from handling_review.program import Program

SHAPE_COLUMNS = (("employee_id", "VARCHAR"), ("bare", "VARCHAR"), ("folded", "VARCHAR"), ("width", "BIGINT"))
SECRET_BYTES = 32
MODE = 0o600
_MOST_BYTES = 1024


class Pseudonyms:
    """Gives ids their pseudonyms and remembers what the cross-checks need of their shapes.

    With ``remember`` it can also give the ids back, for the restricted worklist: these stay in memory only.
    """

    def __init__(self, secret: bytes, *, remember: bool = False) -> None:
        self._secret = secret
        self._ids: dict[str, str] | None = {} if remember else None
        self._shapes: list[pl.DataFrame] = []

    def of(self, ids: pl.Series) -> pl.Series:
        """The pseudonym of each id, null where there is none. Shape: as ``ids``."""
        listed = ids.to_list()
        keyed = [None if one is None else self._key("id", one) for one in listed]
        filled = [(key, one) for key, one in zip(keyed, listed, strict=True) if key is not None]
        if self._ids is not None:
            self._ids.update(filled)
        self._shapes.append(
            pl.DataFrame(
                {
                    "employee_id": [key for key, _ in filled],
                    "bare": [self._key("bare", one.lstrip("0")) if _digits(one) else None for _, one in filled],
                    "folded": [self._key("folded", one.lower()) for _, one in filled],
                    "width": [len(one) for _, one in filled],
                },
                schema={"employee_id": pl.String, "bare": pl.String, "folded": pl.String, "width": pl.Int64},
            )
        )
        return pl.Series(ids.name, keyed, dtype=pl.String)

    def shapes(self) -> pl.DataFrame:
        """One row an id seen so far: pseudonyms of the id, without leading zeros (ids of digits), in lower case; width.

        Sorted, so that the order of the files does not show in the database.
        """
        return pl.concat(self._shapes).unique().sort("employee_id")

    def real(self, pseudonym: str) -> str:
        """The id behind a pseudonym given by this object; only with ``remember``."""
        if self._ids is None:
            raise KeyError("ids are not remembered")
        return self._ids[pseudonym]

    @property
    def check_value(self) -> str:
        """Tells whether two secrets are the same, and nothing else."""
        return self._key("check", "")

    def _key(self, use: str, text: str) -> str:
        digest = hmac.digest(self._secret, f"{use}:{text}".encode("utf-8", "surrogatepass"), "sha256")
        return f"p{digest[:16].hex()}"


def _digits(text: str) -> bool:
    return text.isascii() and text.isdigit()


def passing() -> Pseudonyms:
    """Pseudonyms for one run of which nothing is kept."""
    return Pseudonyms(secrets.token_bytes(SECRET_BYTES))


def secret_path(program: Program) -> Path:
    """Where the secret of a program lies: as the program file says, or beside it under its name."""
    named = program.privacy.secret_file or f"{program.path.stem}.secret"
    return beside(program.path.parent, named)


def kept(program: Program, *, remember: bool = False) -> Pseudonyms:
    """The pseudonyms of a facility's own secret.

    Raises ``ProgramProblem`` if the secret is not there, can be read by others, or is no secret of this program.
    """
    path = secret_path(program)
    if not os.path.lexists(path):
        raise ProgramProblem(lost(program))
    return from_file(path, remember=remember)


def from_file(path: Path, *, remember: bool = False) -> Pseudonyms:
    """The pseudonyms of the secret in a file; raises ``ProgramProblem`` as ``kept`` does."""
    try:
        with open_plain(path) as stream:
            seen = os.fstat(stream.fileno())
            content = stream.read(_MOST_BYTES)
    except NotPlainFile as problem:
        raise ProgramProblem(f"{path.name}: the secret is {str(problem).removeprefix('this is ')}") from None
    except OSError as error:
        raise ProgramProblem(f"{path.name}: the secret cannot be read ({error.strerror}).") from None
    if hasattr(os, "geteuid") and (seen.st_mode & 0o077 or seen.st_uid != os.geteuid()):
        raise ProgramProblem(
            f"{path.name}: the secret belongs to somebody else or can be read by others (mode "
            f"{seen.st_mode & 0o777:04o}). Run: chmod 600 {path.name}. If others may have read it, make a new one."
        )
    try:
        secret = bytes.fromhex(content.decode("ascii").strip())
    except ValueError:
        secret = b""
    if len(secret) != SECRET_BYTES:
        raise ProgramProblem(f"{path.name}: this is no secret made by this program (64 digits 0-9, a-f). Put it back.")
    return Pseudonyms(secret, remember=remember)


def lost(program: Program) -> str:
    """The sentence for a secret that is not there."""
    return (
        f"{secret_path(program).name}: the secret behind the pseudonyms is not there. Put it back from where it is "
        "kept. If it is lost, remove the line secret_file from [privacy] and build into a new folder: a new secret is "
        "made, and people cannot be followed from earlier databases."
    )


def make_or_keep(program: Program) -> Pseudonyms:
    """The facility's secret, made on the first build unless the program file names one.

    Raises ``ProgramProblem`` as ``kept`` does, and if it cannot be written.
    """
    path = secret_path(program)
    if os.path.lexists(path) or program.privacy.secret_file:
        return kept(program)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, MODE)
        with os.fdopen(handle, "w", encoding="ascii") as out:
            os.chmod(path, MODE)  # an odd umask may have taken away more
            out.write(secrets.token_hex(SECRET_BYTES) + "\n")
            out.flush()
            os.fsync(out.fileno())
    except OSError as error:
        raise ProgramProblem(f"{path.name}: the secret cannot be written ({error.strerror}).") from None
    return kept(program)
