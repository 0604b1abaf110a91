"""
The order of a program's instructions: each where its value is needed.

A traced formula works through a pile stage by stage, all layers at once; a processor is far
quicker layer by layer, with few numbers in hand at a time. Nothing is changed but the order, and
never across a jump.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

__all__ = ["scheduled"]

RESULT = re.compile(r"\s+(%[\w.]+) = ")
NAME = re.compile(r"%[\w.]+")
PLACE = re.compile(r"getelementptr double, ptr (%[\w.]+), i64 (\d+)")


def scheduled(text: str) -> str:
    """The same program, every block of it in a better order."""
    lines: list[str] = []
    block: list[str] = []
    for line in text.splitlines():
        if line.startswith("  "):
            block.append(line)
            continue
        lines += _ordered(block)
        lines.append(line)
        block = []
    return "\n".join([*lines, *_ordered(block)]) + "\n"


def _ordered(block: list[str]) -> list[str]:
    """A block from its shallowest results to its deepest, each right after what it is made of."""
    first = [line for line in block if " = phi " in line]
    last = [line for line in block if line.lstrip().startswith(("br ", "ret "))]
    body = [line for line in block if line not in first and line not in last]
    needs = _needs(body)
    depth = [0] * len(body)
    for i, needed in enumerate(needs):
        depth[i] = 1 + max((depth[j] for j in needed), default=0)
    inner = {j for needed in needs for j in needed}
    ends = sorted((i for i in range(len(body)) if i not in inner), key=lambda i: depth[i])
    return [*first, *(body[i] for i in _after_needs(ends, needs)), *last]


def _needs(body: list[str]) -> list[list[int]]:
    """For each instruction those of the block that must come before it."""
    made = {found[1]: i for i, line in enumerate(body) if (found := RESULT.match(line))}
    places = {name: PLACE.search(body[i]) for name, i in made.items()}
    loads: dict[tuple[str, ...], list[int]] = {}
    needs = []
    for i, line in enumerate(body):
        names = NAME.findall(line.split(" = ", 1)[-1])
        needs.append([made[name] for name in names if name in made])
        place = places.get(names[-1]) if names else None
        if place is not None and " = load " in line:
            loads.setdefault(place.groups(), []).append(i)
        elif place is not None and line.startswith("  store "):
            needs[i] += loads.get(
                place.groups(), []
            )  # what is read is read before it is overwritten
    return needs


def _after_needs(ends: list[int], needs: list[list[int]]) -> Iterator[int]:
    begun: set[int] = set()
    for end in ends:
        path = [(end, iter(needs[end]))]
        begun.add(end)
        while path:
            i, rest = path[-1]
            following = next((j for j in rest if j not in begun), None)
            if following is None:
                yield i
                path.pop()
            else:
                begun.add(following)
                path.append((following, iter(needs[following])))
