"""Plotly's basic bundle, packed once into the page, and the policy that lets nothing else run."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache

import pyarrow as pa
from plotly.offline import get_plotlyjs


@dataclass(frozen=True)
class Bundle:
    """The bundle as gzip in base64, and the hash of its text for the content security policy."""

    packed: str
    source_hash: str


@cache
def plotly_bundle() -> Bundle:
    """The bundle of the installed Plotly. The same bytes on every call: no time stamp goes in.

    Arrow brings a zlib of its own. Python's depends on how that Python was built, and its header on the version.
    """
    source = get_plotlyjs().encode("utf-8")
    packed = pa.Codec("gzip", compression_level=9).compress(source, asbytes=True)
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
