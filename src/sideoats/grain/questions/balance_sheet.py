"""balance-sheet: supply, use, ending stocks and stocks-to-use, with the prices that went with such sheets before."""

from __future__ import annotations

import numpy as np

from sideoats.grain.sheet_case import LEAST_YEARS, Sheets, sheets_of
from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Paid, Parts, Phrase, Said, Share, say

NEEDED = ("beginning", "production", "domestic", "exports")
INPUTS = tuple(
    see(f"balance-sheet.{name}", needed=name in NEEDED)
    for name in (
        "commodity",
        "rows_in",
        "beginning",
        "production",
        "imports",
        "domestic",
        "exports",
        "past_ratios",
        "past_prices",
    )
)
READ = Choice("read", labelled("sheet-read"), passive=True)  # nothing is decided here


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    sheets = sheets_of(table)
    sheet, unit = sheets.sheet, np.array(sheets.unit, dtype=object)
    short, ratio = sheet.ending_stocks < 0, 100 * sheet.stocks_to_use
    least, most = context.facts.span("grain/stocks_asked")
    heaped, scant = sheet.stocks_to_use > most, ~short & (sheet.stocks_to_use < least)
    slips = [history.slipped() for history in sheets.histories]
    slipped = np.array([slip is not None for slip in slips], bool)
    _ = context.facts["grain/stocks_lines_shift"]  # a caution rests on it

    def amount(values: np.ndarray, i: int) -> Measured:
        return Measured(float(values[i]), unit=str(unit[i]))

    return Problem(
        "balance-sheet",
        (READ,),
        READ.key,
        "USD/bu",
        np.zeros((len(table), context.outlook.draws, 1)),
        needs={"balance-sheet.rows": np.asarray(short | heaped | scant), "balance-sheet.past_prices": slipped},
        heads=(
            (short, "balance-sheet.short.need"),
            (heaped, "balance-sheet.heaped.need"),
            (scant, "balance-sheet.scant.need"),
            (slipped, "balance-sheet.slip.need"),
        ),
        values={
            "commodity": Name(np.array([name or "wheat" for name in table.text("commodity")], dtype=object)),
            "stocks": lambda i: amount(sheet.ending_stocks, i),
            "lacking": lambda i: amount(-sheet.ending_stocks, i),
            "part": lambda i: Phrase(_part(float(ratio[i]))),
            "slip": lambda i: _slip(slips[i]),
            "past": lambda i: Phrase(_past(sheets, i)),
        },
        reasons=(
            lambda i: say(
                "balance-sheet.because.sum",
                supply=amount(sheet.supply, i),
                use=amount(sheet.use, i),
                left=amount(sheet.ending_stocks, i),
            ),
            *(lambda i, said=said: said(sheets, i) for said in (_few, _line, _near, _outside)),
        ),
        cautions=(say("balance-sheet.care.range"), say("balance-sheet.care.rounded")),
        quantities={
            **sheets.totals(),
            "stocks_to_use": (sheet.stocks_to_use, "1"),
            "past_price_low": (sheets.shown("low"), "USD/bu"),
            "past_price_middle": (sheets.shown("middle"), "USD/bu"),
            "past_price_high": (sheets.shown("high"), "USD/bu"),
            "past_years": (sheets.shown("years"), "year"),
        },
    )


def _part(percent: float) -> Said | None:
    return say("balance-sheet.part", x=Measured(percent, unit="percent")) if np.isfinite(percent) else None


def _slip(slip: tuple[int, float, float] | None) -> Said | None:
    if slip is None:
        return None
    year, price, middle = slip
    return say("balance-sheet.slip", year=Name(str(year)), price=Paid(price), middle=Paid(middle))


def _past(sheets: Sheets, i: int) -> Said | None:
    found = sheets.ranges[i]
    if found is None:
        return None
    if found.inside:
        return say("balance-sheet.years_like_it", low=Paid(found.low), high=Paid(found.high))
    prices = sheets.histories[i].prices  # a line drawn on beyond what was seen gives prices that nobody ever saw
    return say("balance-sheet.beyond_all_years", low=Paid(float(prices.min())), high=Paid(float(prices.max())))


def _few(sheets: Sheets, i: int) -> Said | None:
    n = len(sheets.histories[i].years)
    return say("balance-sheet.because.few", n=n, least=LEAST_YEARS) if 0 < n < LEAST_YEARS else None


def _line(sheets: Sheets, i: int) -> Said | None:
    found, years = sheets.ranges[i], sheets.histories[i].years
    if found is None:
        return None
    return say(
        "balance-sheet.because.line",
        n=found.years,
        first=Name(str(years[0])),
        last=Name(str(years[-1])),
        slope=Measured(found.slope, unit="percent"),
        scatter=Share(found.residual_sd),
    )


def _near(sheets: Sheets, i: int) -> Said | None:
    ratio = float(sheets.sheet.stocks_to_use[i])
    if sheets.ranges[i] is None:
        return None
    near = sheets.histories[i].nearest(ratio)
    each = (
        say("balance-sheet.year", year=Name(str(y)), ratio=Measured(100 * r, unit="percent"), price=Paid(p))
        for y, r, p in near
    )
    return say("balance-sheet.because.nearest", years=Parts(tuple(each)))


def _outside(sheets: Sheets, i: int) -> Said | None:
    found = sheets.ranges[i]
    return say("balance-sheet.because.outside") if found is not None and not found.inside else None


QUESTION = Question(name="balance-sheet", room="grain", inputs=INPUTS, pose=pose)
