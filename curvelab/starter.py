"""A field book to fill in, and one look at whether a filled one can be read."""

from __future__ import annotations

from pathlib import Path

from .adjustment import adjust
from .fieldbook import read_fieldbook
from .records import FieldBookError
from .suspicion import suspicions

_FILES = {
    "site.toml": '''# A field book to fill in. Text after # is a note to you. Every number carries its unit.
# A number after ± is one standard uncertainty: about two times in three the truth lies within it.
format = 1
title = "our lake"
invented = false                     # true where the numbers are made up: every picture will say so
private = true                       # no coordinates, dates or remarks in anything published

[line]
latitude = 50                        # degrees, to 5 is near enough
azimuth  = 60                        # degrees from north, to 30 is near enough
distance = "2000 m ± 2 m"            # the longest sight

[instrument.A]
tolerance     = "2 mm per 30 m"      # the maker's limit, from the data sheet
magnification = 24
reading       = "0.5 mm"             # how finely a staff can be read

[air.lake]
temperature = "15 °C"                # at the lake
pressure    = "1000 hPa"             # at the lake, not reduced to the sea
gradient    = "-0.01 ± 0.03 K/m"     # or hang thermometers (air.csv) and leave this line out

[water]
surfaces = ["near water", "far water"]
touch    = "3 mm"                    # how well a pole touches the water

# Feet and inches: delete "[m]" from the header of a column and write the unit into every cell, as in 5 ft 3 7/16 in.

[rule]                               # before the first reading!
alpha_flat = 0.01
alpha_ellipsoid = 0.01
power = 0.90
''',
    "readings.csv": '''setup,point,distance [m],reading [m],time,remark
peg test 1 midway,peg A,30,,,
peg test 1 midway,peg B,30,,,
peg test 1 near A,peg A,5,,,
peg test 1 near A,peg B,65,,,
lake 1,near water,8,,,
lake 1,far target,2000,,,
lake 1,far target,2000,,,
lake 1,far target,2000,,,
lake 1,far target,2000,,,
lake 1,far target,2000,,,
''',
    "heights.csv": '''from,to,height [m],remark
far water,far target,1.5,replace by what was taped
''',
}


def new_fieldbook(folder: str | Path) -> Path:
    """Write a commented field book ready to fill in; as it stands, it is a plan.

    Raises
    ------
    FileExistsError
        Where the folder already holds one of its files: nothing is ever overwritten.
    """
    folder = Path(folder)
    present = [name for name in _FILES if (folder / name).exists()]
    if present:
        raise FileExistsError(f"{folder.name} already holds {', '.join(present)}; give a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in _FILES.items():
        with (folder / name).open("x", encoding="utf-8", newline="\n") as out:
            out.write(text)
    return folder


def check_fieldbook(folder: str | Path) -> str:
    """Whether a field book can be read and reduced, and what looks like a slip in it: every fault at once, in words."""
    try:
        book = read_fieldbook(folder)
        adjust(book)
    except FieldBookError as error:
        return str(error)
    waiting = sum(r.planned for r in book.readings)
    told = [f"The field book can be read: {len(book.readings)} readings, {waiting} of them still blank; height differences: {len(book.heights)}."]
    told += ["Nothing is read yet: curvelab.plan(curvelab.read_fieldbook(folder)).describe() says whether it could decide."] * book.is_plan
    return "\n".join(told + [f"Looks like a slip: {text}." for text in suspicions(book)])
