"""Plotly's basic bundle, packed once into the page, and the policy that lets nothing else run."""

from __future__ import annotations

import base64
import gzip
import hashlib
from dataclasses import dataclass
from functools import cache

from handling_review import files

_BASIC = "plotly-basic.min.js"  # lines, bars and pies: a quarter of the full one, read in a seventh of the time


@dataclass(frozen=True)
class Bundle:
    """The bundle as gzip in base64, and the hash of its text for the content security policy."""

    packed: str
    source_hash: str


@cache
def plotly_bundle() -> Bundle:
    """The bundle in ``reports``. The same bytes on every call: no time stamp goes in."""
    source = files.read_bytes("reports", _BASIC)
    packed = gzip.compress(source, compresslevel=9, mtime=0)
    return Bundle(base64.b64encode(packed).decode("ascii"), script_hash(source.decode("utf-8")))


def script_hash(text: str) -> str:
    """The hash of an inline script as a content security policy names it."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def policy(*scripts: str) -> str:
    """A policy that runs only these inline scripts and loads nothing from anywhere."""
    hashes = " ".join(script_hash(text) for text in scripts)
    return (
        f"default-src 'none'; script-src {hashes} {plotly_bundle().source_hash}; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
