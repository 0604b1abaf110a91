"""``ventcalc advise``: what to do this hour, and why."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

from ventcalc.advice.advise import Memory
from ventcalc.advice.freeze_guard import release
from ventcalc.advice.json_values import json_object
from ventcalc.advice.kept_file import kept_from_json, kept_to_dict
from ventcalc.advice.probe_history import ProbeHistory
from ventcalc.advice.readings_file import ReadingsFile
from ventcalc.bay.description import Bay
from ventcalc.commands.checks import sensor_checks
from ventcalc.commands.files import bay_named, read_text, write_text
from ventcalc.commands.inputs import read_log_of
from ventcalc.commands.words import about, as_json
from ventcalc.diagnose.log import read_logs
from ventcalc.diagnose.margin import LogMargin, margin_by_log
from ventcalc.diagnose.offsets import sensor_offsets
from ventcalc.errors import BadInput
from ventcalc.farm.advised import advise_given, readings_checked
from ventcalc.farm.folder import bay_files
from ventcalc.logbook.checked_sensors import CheckedSensors
from ventcalc.report.advised_rows import advised_rows
from ventcalc.report.cautions import CAUTION
from ventcalc.report.data import advice_data
from ventcalc.report.sensor_text import checks_data, checks_lines
from ventcalc.report.table import csv_text
from ventcalc.report.text import advice_text
from ventcalc.season.installed import as_installed

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Say what fans, door, humidifier, refrigeration and heater should do now, and why."
EXAMPLE = "ventcalc advise seed_bay --readings examples/readings_cold_night.json --units us"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument(
        "bays",
        metavar="BAY",
        nargs="+",
        help="bay file, or seed_bay or fry_bay (invented); with --log several, or a folder",
    )
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument(
        "--readings",
        metavar="FILE",
        help="readings of this hour, JSON; - takes standard input",
    )
    source.add_argument(
        "--log",
        metavar="FILE",
        help="a log of readings, CSV as of diagnose: prints CSV, what was advised in each row; of "
        "several bays where its second column is bay, with the name of each bay's file",
    )
    parser.add_argument(
        "--json-lines", action="store_true", help="with --log: a line of JSON for each row"
    )
    parser.add_argument(
        "--memory",
        metavar="FILE",
        help="what to remember from hour to hour, JSON; read if it exists, then written",
    )
    parser.add_argument(
        "--learn-from",
        metavar="LOG",
        help="with --readings: let the margin against wetting follow what this log of the season "
        "tells of the probes, as diagnose has it; off unless asked for",
    )
    parser.add_argument(
        "--release",
        action="store_true",
        help="release a latched freeze protection, after somebody has looked at the plenum",
    )


def run(args: argparse.Namespace) -> str:
    """Advice as text or JSON; the memory goes back to its file."""
    if args.log is not None:
        return _over_log(args)
    if len(args.bays) > 1 or args.json_lines:
        raise BadInput("--readings is for one bay and one time; --log takes more")
    described = bay_named(args.bays[0])
    checks = sensor_checks(args.bays[0], described)
    memory, probes = _kept(args.memory, described.name)
    text, zone = read_text(args.readings, "readings"), described.site.time_zone
    with about(f"{args.readings}:"):
        given, trust = readings_checked(described, json_object(text), checks, probes, zone)
    if memory is not None and given.readings.time < memory.time:
        raise BadInput(
            f"{args.readings}: older than what {args.memory} remembers; time does not run "
            "backwards: give newer readings, or delete that file to start anew"
        )
    bay = as_installed(described, pressure=given.readings.pressure)
    learnt = None
    if args.learn_from is not None:
        learnt = _learnt(args.learn_from, bay, trust, given)
        trust = learnt.trust
    bay = replace(bay, sensors=trust.sensors)
    if args.release and memory is not None:
        memory = release(memory)
    given, advice, after, _ = advise_given(bay, given, memory)
    kept = kept_to_dict(after, bay.name, probes)
    told = "\n".join(checks_lines(trust, described.sensors, args.units, learnt))
    parts = (advice_text(bay, given, advice, after, args.units), told, CAUTION)
    said = "\n\n".join(filter(None, parts))
    if args.json:
        data = advice_data(bay, given, advice, after, args.units)
        said = as_json({**data, "sensor_checks": checks_data(trust, learnt), "memory": kept})
    if args.memory is not None:
        try:
            write_text(args.memory, as_json(kept) + "\n")
        except BadInput:  # the advice holds all the same
            sys.stdout.write(said + "\n")
            raise
    return said


def _learnt(name: str, bay: Bay, trust: CheckedSensors, given: ReadingsFile) -> LogMargin:
    """The margin by a log."""
    readings = given.readings
    found = sensor_offsets(bay, read_log_of(name))
    return margin_by_log(bay, trust, found, readings.time, readings.pulp_coldest)


def _over_log(args: argparse.Namespace) -> str:
    """Advice for each row; caution and what was left out go to standard error."""
    if args.memory is not None or args.release or args.learn_from is not None:
        raise BadInput(
            "--memory, --release and --learn-from go with --readings; a log is its own memory"
        )
    paths = {path.stem: path for path in bay_files(args.bays)}
    named = {name: bay_named(str(path)) for name, path in paths.items()}
    logs = read_logs(read_text(args.log, "a log"), named, args.log)
    if "" in logs and len(named) == 1:
        logs = {next(iter(named)): logs[""]}
    elif "" in logs:
        raise BadInput(f"{args.log}: whose rows? put a column bay behind time, or name one bay")
    remarks = [remark for log in logs.values() for remark in log.remarks]
    remarks += [f"no row of bay {name}" for name in named if name not in logs]
    sys.stderr.writelines(f"ventcalc: {args.log}: {remark}\n" for remark in remarks)
    rows = advised_rows(
        {name: (named[name], log, sensor_checks(str(paths[name]), named[name]))
         for name, log in logs.items()}
    )  # fmt: skip
    if args.json:
        bay = named[next(iter(logs))].name
        return as_json({**({"bay": bay} if len(named) == 1 else {}), "rows": rows,
                        "caution": CAUTION})  # fmt: skip
    sys.stderr.write(f"{CAUTION}\n")
    if args.json_lines:
        return "\n".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows)
    return csv_text([rows[0], *(row.values() for row in rows)]).rstrip("\n")


def _kept(name: str | None, bay_name: str) -> tuple[Memory | None, dict[str, ProbeHistory]]:
    if name is None or not Path(name).exists():
        return None, {}
    return kept_from_json(read_text(name, "memory"), name, bay_name)
