"""Pictures as static SVG that anyone can read: one kind of picture, one rule for the marks of an axis.

Rooms give series, what they are, and sentences by code; what a picture says and how its numbers, units and days are
written follows from who reads (`sideoats.words.Reader`). Each picture is drawn for a page and for a phone with letters
of one size, in one ink, and carries its finding, a sentence and its numbers as a table. It needs no script; where one
runs, values are read by pointing and by keyboard (``desk/static/pictures.js``).
"""

from sideoats.pictures.amounts import Bars, Grid
from sideoats.pictures.axis import Axis, Words
from sideoats.pictures.calendar import Calendar, Event, Span, Sums
from sideoats.pictures.choices import Row, Rows
from sideoats.pictures.course import Course, Level, Line
from sideoats.pictures.ground import Map, Spot
from sideoats.pictures.picture import PHONE, PRINT, STYLE, WIDE, Picture, Table
from sideoats.pictures.ticks import DayTicks, Ticks, day_ticks, number_ticks

__all__ = [
    "PHONE",
    "PRINT",
    "STYLE",
    "WIDE",
    "Axis",
    "Bars",
    "Calendar",
    "Course",
    "DayTicks",
    "Event",
    "Grid",
    "Level",
    "Line",
    "Map",
    "Picture",
    "Row",
    "Rows",
    "Span",
    "Spot",
    "Sums",
    "Table",
    "Ticks",
    "Words",
    "day_ticks",
    "number_ticks",
]
