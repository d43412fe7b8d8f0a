"""Pages on the shelf: made once for all who ask, not kept where making them failed."""

import asyncio

import pytest

from windwatch.board.shelf import KEPT_S, Shelf


class Desk:
    """Makes pages, and has a clock that is moved by hand."""

    def __init__(self):
        self.now_s = 0.0
        self.made = 0
        self.fails = False
        self.shelf = Shelf(lambda: self.now_s)

    async def make(self):
        self.made += 1
        await asyncio.sleep(0)
        if self.fails:
            raise ZeroDivisionError
        return b"page %d" % self.made

    async def get(self, key="a", version="1"):
        return await self.shelf.get(key, version, self.make)


def test_of_many_who_ask_at_once_one_has_it_made():
    async def play():
        desk = Desk()
        return await asyncio.gather(*(desk.get() for _ in range(50))), desk.made

    pages, made = asyncio.run(play())
    assert set(pages) == {b"page 1"}
    assert made == 1


def test_a_page_is_kept_a_few_seconds_of_one_version():
    async def play():
        desk = Desk()
        found = [await desk.get(), await desk.get(), await desk.get(version="2")]
        desk.now_s += KEPT_S
        return [*found, await desk.get(version="2"), await desk.get("b", "2")]

    assert asyncio.run(play()) == [b"page 1", b"page 1", b"page 2", b"page 3", b"page 4"]


def test_a_failure_is_told_and_not_kept():
    async def play():
        desk = Desk()
        desk.fails = True
        with pytest.raises(ZeroDivisionError):
            await desk.get()
        desk.fails = False
        return await desk.get()

    assert asyncio.run(play()) == b"page 2"


def test_who_goes_away_takes_it_from_nobody_else():
    async def play():
        desk = Desk()
        first = asyncio.ensure_future(desk.get())
        second = asyncio.ensure_future(desk.get())
        await asyncio.sleep(0)
        first.cancel()
        return await second, desk.made

    assert asyncio.run(play()) == (b"page 1", 1)


def test_the_shelf_is_of_bounded_size():
    async def play():
        desk = Desk()
        for number in range(500):
            await desk.get(str(number))
        return len(desk.shelf._kept)

    assert asyncio.run(play()) < 100
