"""Averages of USDA market news rows and of the public feeder index, with the printed figure beside each."""

from __future__ import annotations

import math

import pytest

from sideoats.errors import InputError
from sideoats.intake.report_rows import combined
from sideoats.intake.report_text import receipts

# The exchange's public daily text of the feeder cattle index, 8 January 2015: head, average weight, price; then head,
# pounds, average weight and average price as printed.
INDEX = {
    "Ava": ("4 652 234.25, 4 720 214, 11 750 217.5, 13 688 222.39, 11 731 216.14", 43, 30_723, 714.49, 219.66),
    "Billings": ("8 662 244, 12 708 228.5, 8 664 233", 28, 19_104, 682.29, 234.05),
    "Centerville": ("26 661 249.73, 25 756 231.75", 51, 36_086, 707.57, 240.31),
    "Dalhart": (
        "28 678 244.78, 186 737 238.88, 201 791 219, 155 828 218.95, 7 690 223.98, 8 709 219",
        585, 453_899, 775.90, 226.12,
    ),
    "Denison": (
        "192 674 262.25, 233 724 239.81, 293 774 229.49, 198 814 231.97, 53 682 247.72, 8 770 224",
        977, 728_360, 745.51, 239.11,
    ),
    "Carthage/Joplin": (
        "178 686 246.21, 137 724 234.34, 245 768 229.75, 187 809 231.46, 165 672 239.80, 81 725 226.44, 108 760 "
        "224.56, 87 839 218.55",
        1188, 885_417, 745.30, 232.46,
    ),
}  # fmt: skip


def _columns(cells: str) -> tuple[list[float], ...]:
    rows = [[float(x) for x in cell.split()] for cell in cells.split(",")]
    return tuple(list(column) for column in zip(*rows, strict=True))


@pytest.mark.parametrize("location", INDEX)
def test_feeder_index_rows(location):
    """Sum of head x weight x price over sum of head x weight, as the index's own rules say."""
    cells, head, pounds, weight, price = INDEX[location]
    got = combined(*_columns(cells))
    assert got[:2] == (head, pounds)
    assert got[2] == pytest.approx(weight, abs=0.00501)
    assert got[3] == pytest.approx(price, abs=0.00501)


@pytest.mark.parametrize(
    ("cells", "weight", "price"),
    [
        # AMS reports of 13 October 2017 (live heifers, dressed steers) and of 4 January 2019 (steers, heifers)
        ("1203 1340 110.91, 270 1181 110.72", 1310, 110.88),
        ("1888 946 174.91, 2222 908 174.98", 925, 174.95),
        ("7690 1472 122.51, 20582 1433 122.96, 1678 1343 122.92", 1438, 122.84),
        ("3795 1281 122.79, 4562 1256 122.85, 510 1203 123.00", 1263, 122.83),
    ],
)
def test_ams_weighted_averages(cells, weight, price):
    """Weights are printed whole, some cut and some rounded; prices to the cent."""
    got = combined(*_columns(cells))
    assert abs(got[2] - weight) < 1
    assert got[3] == pytest.approx(price, abs=0.00501)


def test_ams_row_that_cannot_tell_the_weighting():
    """13 October 2017 steers print 110.45: 110.44 weighted by pounds, 110.46 by head, so only within a cent."""
    assert combined(*_columns("1732 1494 110.27, 500 1338 111, 91 1270 111"))[3] == pytest.approx(110.45, abs=0.0105)


@pytest.mark.parametrize(
    ("auction", "direct", "video", "total"),
    [
        # SJ_LS850, reports of September 2020 and January 2025
        ("201,200", "46,700", "39,800", 287_700),
        ("119,800", "24,000", "68,200", 212_000),
        ("334,700", "23,600", "67,500", 425_800),
        ("235,200", "40,800", "111,600", 387_600),
        ("96,900", "47,000", "4,500", 148_400),
    ],
)
def test_receipts_add_up(auction, direct, video, total):
    found = receipts(f"Auctions {auction} Direct {direct} Video/Internet {video} Total {total:,}")
    assert found["total"] == total
    assert found["direct"] == float(direct.replace(",", ""))


def test_receipts_not_reported():
    """SJ_LS850 of 10 July 2020 prints NA for video sales: 134,500 + 73,000 = 207,500, the third missing."""
    found = receipts("Auctions 134,500 Direct 73,000 Video/Internet NA")
    assert found["total"] == 207_500
    assert math.isnan(found["video"])


def test_receipts_that_do_not_add_up_are_refused():
    with pytest.raises(InputError, match="add to 287,700"):
        receipts("Auctions 201,200 Direct 46,700 Video/Internet 39,800 Total 287,000")
