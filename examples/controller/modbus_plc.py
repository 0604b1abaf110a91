"""
An invented PLC behind Modbus TCP, to try the gateway without hardware.

    python -m pip install pymodbus
    python modbus_plc.py --port 5020

Its readings are invented and stand still but for a little noise. Its scan is the ladder of
plain_topics.md: it follows advice only while ``valid`` is 1, the beat changes, its own switch says
remote, and no protection has tripped; otherwise its own program runs.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import time

from modbus_gateway import LEFT_ALONE, READ, READ_FROM, WRITE, WRITE_TO
from pymodbus.server import StartAsyncTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

BEAT_TIMEOUT = 60.0
"""So long the beat may stand still. [s]"""
INVENTED = {
    "pulp_1": 54, "pulp_2": 56, "pulp_3": 57, "plenum": 45, "return": 58, "return_rh": 940,
    "outside": 5, "outside_rh": 700, "co2": 1200, "fan_is": 0, "door_is": 0, "inside": 0,
    "confirmed": 0, "life": 0,
}  # fmt: skip
OWN_PROGRAM = {"fan": 300, "door": 0}
"""Tenths of a percent: what this PLC does by itself."""


class Plc:
    """Registers, a clock of its own, and one scan a second."""

    def __init__(self, timeout: float = BEAT_TIMEOUT) -> None:
        self.timeout, self.told = timeout, dict.fromkeys(WRITE, 0)
        self.beat, self.beat_at = 0, float("-inf")
        self.switch_remote, self.tripped = True, False
        self.remote, self.scans = False, 0
        self.outputs = dict(OWN_PROGRAM)

    async def access(
        self, code: int, start: int, address: int, count: int, registers: list, values: list | None
    ) -> None:
        """Called by the Modbus server at every request: fill what is read, note what is written."""
        if values is not None:
            for place, value in enumerate(values, address - WRITE_TO):
                if 0 <= place < len(WRITE):
                    self.told[WRITE[place]] = value
            return
        now = {**INVENTED, "fan_is": self.outputs["fan"], "door_is": self.outputs["door"]}
        now["life"] = self.scans % 32768
        for place, name in enumerate(READ, READ_FROM - start):
            noise = random.choice((-1, 0, 1)) if name in ("plenum", "return") else 0
            registers[place] = now[name] + noise

    def scan(self, now: float) -> None:
        """The ladder, rung by rung."""
        self.scans += 1
        if self.told["beat"] != self.beat:
            self.beat, self.beat_at = self.told["beat"], now
        alive = now - self.beat_at <= self.timeout
        self.remote = self.told["valid"] == 1 and alive and self.switch_remote and not self.tripped
        for name in self.outputs:
            advised = self.told[name] if self.remote else LEFT_ALONE
            self.outputs[name] = OWN_PROGRAM[name] if advised == LEFT_ALONE else advised
        # A real PLC goes on here: its own limits, ramps, run times and frost cut-out, always last.


async def run(plc: Plc, port: int, stop_after: float) -> None:
    """Serve until interrupted, and scan; a PLC in stop goes on showing its last registers."""
    block = SimData(0, count=WRITE_TO + len(WRITE), values=0, datatype=DataType.REGISTERS)
    device = SimDevice(id=1, simdata=[block], action=plc.access)
    server = asyncio.create_task(StartAsyncTcpServer(device, address=("127.0.0.1", port)))
    shown = None
    begun = time.monotonic()
    while not server.done() and time.monotonic() - begun < stop_after:
        plc.scan(time.monotonic())
        now = (plc.remote, tuple(plc.outputs.items()))
        if now != shown:
            who = "advice" if plc.remote else "own program"
            places = ", ".join(f"{name} {one / 10:g}%" for name, one in plc.outputs.items())
            print(f"{who}: {places}", flush=True)
            shown = now
        await asyncio.sleep(0.2)
    print("stop", flush=True)
    await server


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="an invented PLC behind Modbus TCP")
    parser.add_argument("--port", type=int, default=5020)
    parser.add_argument("--beat-timeout", type=float, default=BEAT_TIMEOUT)
    parser.add_argument("--stop-after", type=float, default=float("inf"), help="seconds, to try it")
    args = parser.parse_args()
    asyncio.run(run(Plc(args.beat_timeout), args.port, args.stop_after))
