"""Short ways to read a program in a test."""

from shopmon.cutting.program.reading import AS_IT_COMES, read_program

HEAD = ("G21 G90 G17", "T1 M6", "S8000 M3")


def read(*lines, machine=AS_IT_COMES, **more):
    """Read lines as they stand."""
    return read_program(lambda: list(lines), machine, **more)


def only_section(*lines, machine=AS_IT_COMES):
    """Read lines after the usual head; one section comes of it."""
    (section,) = read(*HEAD, *lines, "M30", machine=machine).sections
    return section
