"""What kind of text file this is: encoding, delimiter, where the header stands. Found before anything is read."""

from __future__ import annotations

import codecs
import csv
import difflib
import hashlib
import io
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from handling_review.ahead import ahead
from handling_review.inputs import identity
from handling_review.intake import parquet
from handling_review.intake.contracts import Contract
from handling_review.intake.opening import chunks, open_again, open_input
from handling_review.problems import DataProblem

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
HEADER_LINES = 40  # title lines above a header are few; further down a match is chance
PARQUET = "parquet"
_HEAD = 1 << 17
_LONGEST_HEADER = 1 << 15
MOST_SHOWN = 40  # column names in a message
_VALUE = re.compile(r"[0-9][0-9.,:/ -]*")  # a number or a day: no name of a column is written so
MOST_COLUMNS = 1_000  # exports have tens
_SPREADSHEET = {b"PK\x03\x04": "a spreadsheet or zip archive", b"\xd0\xcf\x11\xe0": "an old spreadsheet"}
_WEB_PAGE = (b"<html", b"<!doctype", b"<table", b"<?xml")
_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


@dataclass(frozen=True)
class Dialect:
    """How one file is written.

    ``columns`` maps canonical column names to positions; ``header_line`` and ``first_line`` are physical lines from 1.
    """

    path: Path
    size: int
    sha256: str
    encoding: str
    lines: int = 0  # line ends in the file, or rows of a Parquet file; 0 where they were not counted
    odd_bytes: int = 0  # bytes outside UTF-8, read as Windows-1252
    odd_line: int = 0  # physical line of the first of them
    delimiter: str = ","
    header: tuple[str, ...] = ()
    header_line: int = 1
    first_line: int = 2
    has_quotes: bool = False
    columns: Mapping[str, int] = field(default_factory=dict)
    extra: tuple[str, ...] = ()
    seen: tuple[int, ...] = ()  # what the open file was, so that a later reading is of the same


def examine(path: Path, contract: Contract, mapping: Mapping[str, str]) -> Dialect:
    """Look at one file and find its encoding, delimiter, header line and columns.

    ``mapping``: canonical column name to the file's own header. Raises ``DataProblem`` with one sentence.
    """
    found = scan_bytes(path)
    if found.encoding == PARQUET:
        names = parquet.column_names(path, found.seen)
        refuse_wide(path, names)
        columns, extra = _match(path, 0, names, contract, mapping)
        rows = parquet.row_count(path, found.seen)
        return replace(
            found, lines=rows, header=tuple(names), header_line=0, first_line=1, columns=columns, extra=extra
        )
    head = "".join(_lines_of_head(path, found))
    delimiter, place, row, before = _header(path, head, contract, mapping)
    if place[1] - place[0] >= _LONGEST_HEADER:
        raise DataProblem(
            f"{path.name}, line {before + 1}: the line of column names is longer than 32,000 characters. "
            "This is no table of a few columns; export the file again."
        )
    refuse_wide(path, row)
    columns, extra = _match(path, before + 1, row, contract, mapping)
    height = len(re.findall(r"\r\n|\r|\n", head[place[0] : place[1]])) or 1
    return replace(
        found,
        delimiter=delimiter,
        header=tuple(row),
        header_line=before + 1,
        first_line=before + 1 + height,
        columns=columns,
        extra=extra,
    )


def refuse_wide(path: Path, names: Sequence[str]) -> None:
    """Raise ``DataProblem`` for a table of more columns than any export has."""
    if len(names) > MOST_COLUMNS:
        raise DataProblem(
            f"{path.name}: {len(names):,} columns; at most {MOST_COLUMNS:,} are read. Export the few that are needed."
        )


def scan_bytes(path: Path) -> Dialect:
    """Hash, size and encoding, in one pass over the bytes."""
    digest = hashlib.sha256()

    def hashed(content: Iterable[bytes]) -> Iterator[bytes]:
        for chunk in content:
            digest.update(chunk)
            yield chunk

    with open_input(path) as stream:
        with ahead(hashed(chunks(path, stream))) as content:  # hashing takes as long as all the rest
            found = _scan(path, content)
        return replace(found, sha256=digest.hexdigest(), seen=identity(stream))


def _scan(path: Path, content: Iterable[bytes]) -> Dialect:
    """Size and encoding of the bytes; the hash is not known yet."""
    size, quotes, line, odd, odd_line = 0, False, 1, 0, 0
    encoding = "utf-8"
    decoder = codecs.getincrementaldecoder("utf-8")("surrogateescape")  # bytes that are not UTF-8 become surrogates
    pending = after_cr = False
    for chunk in content:
        if size == 0:
            encoding = _first_bytes(path, chunk)
        size += len(chunk)
        quotes = quotes or b'"' in chunk
        if encoding in ("utf-16", PARQUET):
            continue
        if b"\0" in chunk:
            at = line + _line_ends(chunk[: chunk.index(b"\0")].decode("latin-1"), after_cr=after_cr)
            raise DataProblem(f"{path.name}, line {at}: a NUL byte; the export is damaged. Export the file again.")
        if pending or not chunk.isascii():
            found, first = _odd_bytes(path, decoder.decode(chunk), line, after_cr=after_cr)
            pending = bool(decoder.getstate()[0])
            odd += found
            odd_line = odd_line or first
        line += chunk.count(b"\n")
        if b"\r" in chunk:
            line += chunk.count(b"\r") - chunk.count(b"\r\n")
        line -= after_cr and chunk.startswith(b"\n")
        after_cr = chunk.endswith(b"\r")
    found, first = _odd_bytes(path, decoder.decode(b"", final=True), line, after_cr=after_cr)
    odd, odd_line = odd + found, odd_line or first
    if size == 0:
        raise DataProblem(
            f"{path.name}: the file is empty. No rows is not the same as no injuries or no hours; export it again."
        )
    return Dialect(
        path=path,
        size=size,
        sha256="",
        encoding="cp1252" if odd else encoding,
        lines=line - 1,
        odd_bytes=odd,
        odd_line=odd_line,
        has_quotes=quotes or encoding == "utf-16",
    )


def _line_ends(text: str, end: int | None = None, *, after_cr: bool) -> int:
    """Line ends of any kind in the text up to ``end``; ``after_cr``: it follows a carriage return counted before."""
    end = len(text) if end is None else end
    count = text.count("\n", 0, end) + text.count("\r", 0, end) - text.count("\r\n", 0, end)
    return count - (after_cr and end > 0 and text.startswith("\n"))


def _odd_bytes(path: Path, text: str, line: int, *, after_cr: bool) -> tuple[int, int]:
    """How many bytes of the text are not UTF-8, and the physical line of the first of them."""
    first = re.search("[\udc80-\udcff]", text)
    if first is None:
        return 0, 0
    unknown = re.search("[\udc81\udc8d\udc8f\udc90\udc9d]", text)
    if unknown:
        where = line + _line_ends(text, unknown.start(), after_cr=after_cr)
        raise DataProblem(
            f"{path.name}, line {where}: byte 0x{ord(unknown[0]) - 0xDC00:02X} is neither UTF-8 nor Windows-1252 "
            "text. Export the file again as CSV in UTF-8."
        )
    count = sum(found.end() - found.start() for found in re.finditer("[\udc80-\udcff]+", text))
    return count, line + _line_ends(text, first.start(), after_cr=after_cr)


def _first_bytes(path: Path, chunk: bytes) -> str:
    for signature, kind in _SPREADSHEET.items():
        if chunk.startswith(signature):
            raise DataProblem(
                f"{path.name}: this is {kind} with the ending .csv. Open it in the spreadsheet program "
                "and save it as CSV (comma separated, UTF-8)."
            )
    if chunk.startswith(b"PAR1"):
        return PARQUET
    if chunk.removeprefix(codecs.BOM_UTF8).lstrip()[:9].lower().startswith(_WEB_PAGE):
        raise DataProblem(
            f"{path.name}: this is a web page or XML with another ending, as some systems write their spreadsheets. "
            "Open it in the spreadsheet program and save it as CSV (comma separated, UTF-8)."
        )
    for mark, name in _BOMS:
        if chunk.startswith(mark):
            return name
    return "utf-8"


# Bytes that can begin no character of UTF-8 and that Windows-1252 knows: a run of them is read in one step.
_STRAYS = re.compile(rb"[\x80\x82-\x8c\x8e\x91-\x9c\x9e-\xc1\xf5-\xff]+")


def _windows_byte(error: UnicodeError) -> tuple[str, int]:
    """Decode what is not UTF-8 as Windows-1252, the usual stray in such files: one byte, and any that follow it."""
    if not isinstance(error, UnicodeDecodeError):
        raise error
    run = _STRAYS.match(error.object, error.start)
    end = run.end() if run else error.start + 1
    return error.object[error.start : end].decode("cp1252"), end


codecs.register_error("handling_review_windows_byte", _windows_byte)


def open_text(dialect: Dialect) -> io.TextIOWrapper:
    """The file as text with its line ends untouched."""
    encoding = "utf-8" if dialect.encoding == "cp1252" else dialect.encoding
    stream = open_again(dialect.path, dialect.seen)
    return io.TextIOWrapper(stream, encoding=encoding, errors="handling_review_windows_byte", newline="")


def _lines_of_head(path: Path, found: Dialect) -> Iterator[str]:
    with open_text(found) as stream:
        try:
            yield stream.read(_HEAD)
        except UnicodeError:
            raise DataProblem(
                f"{path.name}: starts like UTF-16 text but is not. Export it again as CSV in UTF-8."
            ) from None


def normal(name: str) -> str:
    """A header as it is compared, in any script: case, space, dashes and underscores do not matter.

    Of a header without letters and digits, such as "#", the signs themselves are compared.
    """
    return re.sub(r"[\W_]+", "_", name.replace("\ufeff", "").lower()).strip("_") or "".join(name.split())


def _wanted(contract: Contract, mapping: Mapping[str, str]) -> dict[str, str]:
    """Normalised header to canonical column."""
    wanted = {normal(name): name for name in contract.names if name not in mapping}
    wanted.update({normal(theirs): ours for ours, theirs in mapping.items()})
    return wanted


def _header(
    path: Path, head: str, contract: Contract, mapping: Mapping[str, str]
) -> tuple[str, tuple[int, int], list[str], int]:
    """Delimiter, place of the header in the text, its cells, and the number of lines above it."""
    wanted = _wanted(contract, mapping)
    best: tuple[tuple[int, int, int], str, tuple[int, int], list[str], int] | None = None
    start = 0
    for above in range(HEADER_LINES):
        end = _record_end(head, start)
        text = head[start:end]
        if not text:
            break
        for delimiter in DELIMITERS:
            row = _cells(text, delimiter)
            hits = len({wanted[normal(c)] for c in row if normal(c) in wanted})
            score = (hits, -above if hits else 0, len(row))
            if best is None or score > best[0]:
                best = (score, delimiter, (start, end), row, above)
        start = end
    if best is None:
        raise DataProblem(f"{path.name}: no header line. The first line must name the columns.")
    lines_above = len(re.findall(r"\r\n|\r|\n", head[: best[2][0]]))
    return best[1], best[2], best[3], lines_above


def _record_end(text: str, start: int) -> int:
    """Where the record that begins at ``start`` ends, line end included; line ends inside quotes do not end it.

    A quotation mark opens a cell only where the cell begins: the one in ``Lifts 5" wide`` is text.
    """
    quoted, at, closed = False, start, start
    for found in re.finditer(r'"|\r\n|\r|\n', text[start : start + (1 << 15)]):
        place = start + found.start()
        if found[0] == '"' and quoted:
            quoted, closed = False, place + 1
        elif found[0] == '"':
            quoted = place == closed or text[place - 1] in DELIMITERS
        elif not quoted:
            return start + found.end()
        at = found.end()
    if quoted and at:  # a stray quote: fall back to the physical line
        line_end = re.search(r"\r\n|\r|\n", text[start:])
        return start + line_end.end() if line_end else len(text)
    return len(text)


def _cells(text: str, delimiter: str) -> list[str]:
    try:
        rows = list(csv.reader([text.rstrip("\r\n")], delimiter=delimiter))
    except csv.Error:
        return []
    return [" ".join(cell.split()) for cell in rows[0]] if rows else []


def _match(
    path: Path, line: int, row: Sequence[str], contract: Contract, mapping: Mapping[str, str]
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Positions of the canonical columns; refuses missing and doubled ones by name."""
    where = f"{path.name}, line {line}" if line else path.name
    for ours in mapping:
        if ours not in contract.names:
            near = difflib.get_close_matches(ours, contract.names, n=1, cutoff=0.0)[0]
            raise DataProblem(
                f"[columns.{contract.name}] of the program file names {ours!r}, which is no column of this file. "
                f"Did you mean {near!r}?"
            )
    wanted, columns, extra = _wanted(contract, mapping), {}, []
    for position, cell in enumerate(row):
        name = wanted.get(normal(cell))
        if name is None:
            extra.append(cell)
        elif name in columns:
            raise DataProblem(f"{where}: two columns are called {cell!r}. Rename one or map one in [columns].")
        else:
            columns[name] = position
    missing = contract.missing_columns(columns)
    if missing:
        if len(missing) > len(columns) and any(_VALUE.fullmatch(cell) for cell in row):
            raise DataProblem(
                f"{where}: this seems to be a row of data; no line names the columns. Export the file with its header."
            )
        names = [repr(c[:60]) for c in row if c]
        seen = ", ".join(names[:MOST_SHOWN]) + (f" and {len(names) - MOST_SHOWN:,} more" * (len(names) > MOST_SHOWN))
        raise DataProblem(f"{where}: {_missing_words(missing, row, mapping, contract)} Columns seen: {seen or 'none'}.")
    return columns, tuple(cell for cell in extra if cell)


def _missing_words(missing: list[str], row: Sequence[str], mapping: Mapping[str, str], contract: Contract) -> str:
    listed = ", ".join(repr(m) for m in missing)
    words = f"no column {listed}." if len(missing) == 1 else f"no columns {listed}."
    stated = next((name for name in missing if name in mapping), None)
    if stated is not None:
        return f"{words} The program file says that {stated} is called {mapping[stated]!r} here."
    free = {normal(c): c for c in row if c and normal(c) not in contract.names}
    lines = []
    for name in missing:
        near = _nearest(name, contract, free)
        if near is not None:
            lines.append(f"{name} = {json.dumps(free.pop(near), ensure_ascii=False)}")
    where = f"under [columns.{contract.name}] of the program file"
    if lines:
        rest = "" if len(lines) == len(missing) else " For the others nothing here comes near; add them likewise."
        return f"{words} If these are meant, add {' and '.join(lines)} {where}.{rest}"
    return f"{words} If it has another name, add it {where}."


def _nearest(name: str, contract: Contract, free: Mapping[str, str]) -> str | None:
    """The free header that is one of the column's usual names in other systems, or is written much like one."""
    usual = [normal(name), *(normal(header) for header in contract.field(name).headers)]
    exact = next((header for header in usual if header in free), None)
    if exact is not None:
        return exact
    close = [found for word in usual for found in difflib.get_close_matches(word, list(free), n=1, cutoff=0.75)]
    return close[0] if close else None
