"""Names that are too long for a picture, cut so that two of them never look alike."""

from __future__ import annotations

from collections.abc import Sequence

_HEAD = 8  # letters that stay of what many names begin with


def shortened(names: Sequence[str], most: int) -> dict[str, str]:
    """Each name in at most ``most`` letters; those that begin alike keep the part in which they differ."""
    found = {name: name if len(name) <= most else f"{name[: most - 1].rstrip()}…" for name in names}
    by_look: dict[str, list[str]] = {}
    for name, look in found.items():
        by_look.setdefault(look, []).append(name)
    for alike in by_look.values():
        if len(alike) > 1:
            columns = enumerate(zip(*alike, strict=False))
            common = next((at for at, letters in columns if len(set(letters)) > 1), min(map(len, alike)))
            start = alike[0].rfind(" ", 0, common) + 1  # from the word on in which they differ
            found |= {name: _around(name, start or common, most) for name in alike}
    return found


def _around(name: str, start: int, most: int) -> str:
    rest = name[start:]
    room = most - _HEAD - 1
    return f"{name[:_HEAD].rstrip()}…{rest if len(rest) <= room else rest[: room - 1].rstrip() + '…'}"
