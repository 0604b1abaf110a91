"""``ventcalc plan``: which hours of the next days cool, how hard and why, with a proven gap."""

from __future__ import annotations

import argparse

from ventcalc.commands.ahead import add_inputs, forecast_asked, state_asked
from ventcalc.commands.files import bay_named, page_wanted, write_text
from ventcalc.commands.words import about, as_json
from ventcalc.plan.tariff import Tariff, flat, tariff_of
from ventcalc.plan.week import OFF_TARGET, plan_week
from ventcalc.report.plan_text import plan_data, plan_page, plan_text

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Which hours of the next 7 days should cool, how hard and why, and what that costs."
EXAMPLE = (
    "ventcalc plan seed_bay --state state.json --forecast forecast.json "
    '--tariff "22-6 0.06, 6-22 0.14"'
)


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    add_inputs(parser)
    parser.add_argument(
        "--tariff",
        metavar="HOURS",
        help='price of a kWh by hours of the local day, such as "22-6 0.06, 6-22 0.14" (the '
        "bay's one price)",
    )
    parser.add_argument(
        "--demand-charge",
        metavar="PRICE",
        type=_price,
        default=0.0,
        help="price of a kW of the greatest hour, told beside the plan (0)",
    )
    parser.add_argument(
        "--off-target",
        metavar="PRICE",
        type=_price,
        default=OFF_TARGET,
        help=f"price of a tonne, kelvin and hour outside the band ({OFF_TARGET})",
    )
    parser.add_argument("--html", metavar="OUT", help="write a page with the picture")


def _price(text: str) -> float:
    try:
        price = float(text)
    except ValueError:
        price = -1.0
    if not 0.0 <= price <= 1000.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a price from 0 to 1000")
    return price


def run(args: argparse.Namespace) -> str:
    """Sentences and stretches as text or JSON; the page where it is asked for."""
    page_wanted(args)
    bay = bay_named(args.bay)
    tariff = _tariff(args, bay.costs.electricity)
    state = state_asked(bay, args)
    forecast = forecast_asked(bay, args, state)
    found = plan_week(
        bay, state, forecast, hours=args.hours, tariff=tariff, off_target=args.off_target
    )
    wrote = [write_text(args.html, plan_page(found, args.units))] if args.html else []
    if args.json:
        return as_json({**plan_data(found), "files": args.html or ""})
    return "\n\n".join([plan_text(found, args.units), *wrote])


def _tariff(args: argparse.Namespace, price: float) -> Tariff:
    charge = args.demand_charge / 1000.0
    if args.tariff is None:
        return flat(price, charge)
    with about("--tariff"):
        tariff = tariff_of(args.tariff, charge)
    return tariff
