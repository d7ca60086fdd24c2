"""Work in several processes: order, bounds, and workers that die."""

import os
from collections.abc import Iterator, Sequence
from functools import partial
from typing import overload

import pytest
from lane_work import always_dies, fail, lost, square, square_unless_seven, worker

from workstation.cli.lanes import AHEAD, in_order


class Watched(Sequence[int]):
    """The numbers from 0, and the highest that was asked for."""

    def __init__(self, count: int) -> None:
        self._count = count
        self.highest = -1

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, at: int) -> int: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[int]: ...
    def __getitem__(self, at: int | slice) -> int | Sequence[int]:
        if isinstance(at, slice):
            return range(*at.indices(self._count))
        if at >= self._count:
            raise IndexError(at)
        self.highest = max(self.highest, at)
        return at


@pytest.mark.parametrize("jobs", [1, 2, 3])
def test_results_come_in_order(jobs: int) -> None:
    assert list(in_order(range(20), square, lost, jobs)) == [number * number for number in range(20)]


def test_no_work_needs_no_worker() -> None:
    assert list(in_order([], square, lost, 4)) == []


def test_a_worker_that_dies_costs_its_own_piece_alone() -> None:
    expected = [lost(7) if number == 7 else number * number for number in range(20)]
    assert list(in_order(range(20), square_unless_seven, lost, 2)) == expected


def test_workers_that_always_die_end_all_the_same() -> None:
    assert list(in_order(range(1, 4), always_dies, lost, 2)) == [-1, -2, -3]


def test_one_job_works_here_and_several_elsewhere() -> None:
    assert {pid for pid, _ in in_order(range(3), worker, partial(worker), 1)} == {os.getpid()}
    assert os.getpid() not in {pid for pid, _ in in_order(range(6), worker, worker, 2)}


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_fault_in_the_work_is_not_hidden(jobs: int) -> None:
    results: Iterator[int] = in_order(range(3), fail, lost, jobs)
    with pytest.raises(ArithmeticError, match="no square"):
        next(results)


def test_work_never_runs_far_ahead_of_what_is_taken() -> None:
    numbers = Watched(10_000)
    results = in_order(numbers, square, lost, 2)
    for due in range(30):
        assert next(results) == due * due
        assert numbers.highest < due + AHEAD * 2
    results.close()  # type: ignore[attr-defined]
