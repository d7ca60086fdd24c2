"""Pieces of work for lanes; a module of its own, since workers import it by name."""

import os
import threading


def square(number: int) -> int:
    return number * number


def square_unless_seven(number: int) -> int:
    """Seven ends the worker as the system does when memory runs out: at once, without a word."""
    if number == 7:
        os._exit(137)
    return number * number


def always_dies(number: int) -> int:
    os._exit(137)


def fail(number: int) -> int:
    raise ArithmeticError(f"no square of {number}")


def worker(number: int) -> tuple[int, str]:
    return os.getpid(), threading.current_thread().name


def lost(number: int) -> int:
    return -number
