"""The drawing library in the page: the basic bundle of the version that the installed Plotly was made for."""

from __future__ import annotations

import base64
import gzip
import hashlib
import re

from plotly.offline import get_plotlyjs_version

from handling_review import files
from handling_review.page import bundle
from handling_review.page.findings import parts
from spec import made_up_tables as made_up

BUNDLE = "plotly-basic.min.js"
# npm pack plotly.js-basic-dist-min@4.1.1, package/plotly-basic.min.js
SHA256 = "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"


def test_the_bundle_is_the_published_one_and_of_the_version_that_plotly_was_made_for() -> None:
    source = files.read_bytes("reports", BUNDLE)
    assert hashlib.sha256(source).hexdigest() == SHA256
    version = re.search(rb"plotly\.js \(basic - minified\) v([\d.]+)", source[:200])
    assert version
    assert version[1].decode() == get_plotlyjs_version(), "take the basic bundle of the same version from npm"
    assert b"Licensed under the MIT license" in source[:200]


def test_the_page_carries_it_packed() -> None:
    packed = bundle.plotly_bundle().packed
    assert gzip.decompress(base64.b64decode(packed)) == files.read_bytes("reports", BUNDLE)
    assert bundle.plotly_bundle().packed == packed


def test_pictures_use_only_what_the_basic_bundle_draws() -> None:
    used = {
        trace["type"]
        for part in parts(made_up.review())
        for finding in part.findings
        for picture in finding.pictures
        for trace in picture.figure["data"]
    }
    assert used == {"scatter", "bar"}
