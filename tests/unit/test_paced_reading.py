"""A reader that reads ahead of its parser is held back, and never for good."""

from __future__ import annotations

import io
import threading
import time

import pyarrow as pa
import pyarrow.csv as pa_csv

from handling_review.intake.opening import Paced


class Counted(io.BytesIO):
    """Bytes that know how often they were asked for more."""

    asked = 0

    def read(self, size: int | None = -1, /) -> bytes:
        self.asked += 1
        return super().read(size)


def test_no_more_parts_are_handed_out_than_may_lie_ahead() -> None:
    source = Counted(b"x" * 100)
    paced = Paced(source, ahead=2, patience=60)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.extend(iter(lambda: paced.read(10), b"")), daemon=True)
    reader.start()
    for taken in range(1, 5):
        paced.took()
        deadline = time.monotonic() + 10
        while len(read) < taken + 2 and time.monotonic() < deadline:
            time.sleep(0.001)
        time.sleep(0.01)
        assert len(read) == taken + 2
    paced.close()
    reader.join(10)
    assert not reader.is_alive()
    assert source.closed


def test_a_reader_that_is_told_nothing_still_reads_to_the_end() -> None:
    paced = Paced(io.BytesIO(b"x" * 100), ahead=1, patience=0.001)
    assert b"".join(iter(lambda: paced.read(10), b"")) == b"x" * 100


def test_arrow_reads_a_few_blocks_ahead_instead_of_dozens() -> None:
    """pyarrow's streaming reader fills a queue of 32 blocks (cpp/src/arrow/util/async_generator.h, from memory)."""
    block, blocks = 1 << 16, 100
    content = b"a,b\n" + b"1,2\n" * (block * blocks // 4)

    def reads_after_two_blocks(source: Counted, given: object) -> int:
        reader = pa_csv.open_csv(given, read_options=pa_csv.ReadOptions(block_size=block, use_threads=False))
        for _ in range(2):
            reader.read_next_batch()
            if isinstance(given, Paced):
                given.took()
        last = -1
        while source.asked != last:
            last = source.asked
            time.sleep(0.2)
        return source.asked

    free, held = Counted(content), Counted(content)
    assert reads_after_two_blocks(free, pa.PythonFile(free, mode="r")) > 20
    paced = Paced(held, ahead=4, patience=60)
    assert reads_after_two_blocks(held, paced) <= 7
    paced.close()
