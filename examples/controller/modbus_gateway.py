"""
A Modbus gateway for the bridge: registers of a PLC to MQTT, and advice to registers.

    python -m pip install paho-mqtt pymodbus
    python modbus_gateway.py --plc 192.0.2.20:502 --broker 127.0.0.1

The register map below is an invented one; write your own. What the numbers mean, and what the
PLC has to do with them, stands in plain_topics.md. This program trusts nobody for longer than
the beat comes: silence of bridge or broker makes the register ``valid`` fall here, and the PLC
counts the beat once more, because this program may die, too.
"""

from __future__ import annotations

import argparse
import json
import os
import time

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException

READ_FROM = 0
READ = (
    "pulp_1", "pulp_2", "pulp_3", "plenum", "return", "return_rh", "outside", "outside_rh",
    "co2", "fan_is", "door_is", "inside", "confirmed", "life",
)  # fmt: skip
"""Holding registers that the PLC fills, one after another; signed, tenths where they have any."""
NO_VALUE = -32768
WRITE_TO = 100
WRITE = ("fan", "door", "water", "cool", "heat", "offer", "beat", "valid")
"""Holding registers that the PLC reads; all eight are written in one request."""
FULL = 1000
"""`full` of the bridge's mapping."""
LEFT_ALONE = 65535
"""A position that the advice leaves to the PLC's own program."""


def signed(register: int) -> int:
    """A register as a number with a sign."""
    return register - 65536 if register > 32767 else register


class Advice:
    """The last word of the bridge, and how long it may be believed, by this machine's own clock."""

    def __init__(self, timeout: float) -> None:
        self.timeout, self.said, self.beat_at = timeout, {}, float("-inf")

    def take(self, payload: bytes, retained: bool) -> None:
        """Take a message; one that is not an object with numbers, or was kept, says nothing."""
        try:
            said = json.loads(payload)
            numbers = {name: said[name] for name in WRITE if name in said}
        except (ValueError, TypeError, RecursionError):
            return
        if retained or not {"beat", "valid"} <= numbers.keys():
            return
        for name, number in numbers.items():  # also no truth value, and no 1e999
            most = FULL if name in WRITE[:5] else 65535
            if type(number) not in (int, float) or not 0 <= number <= most:
                return
        numbers = {name: int(number) for name, number in numbers.items()}
        if numbers["beat"] != self.said.get("beat"):
            self.beat_at = time.monotonic()
        self.said = numbers

    def registers(self, connected: bool) -> list[int]:
        """What the PLC gets now."""
        alive = connected and time.monotonic() - self.beat_at <= self.timeout
        valid = alive and self.said.get("valid") == 1
        positions = [self.said.get(name, LEFT_ALONE) if valid else 0 for name in WRITE[:5]]
        counts = [self.said.get(name, 0) if alive else 0 for name in ("offer", "beat")]
        return [*positions, *counts, int(valid)]


def read(plc: ModbusTcpClient) -> dict[str, int]:
    """What the PLC measures now, without what it marks as missing."""
    answer = plc.read_holding_registers(READ_FROM, count=len(READ))
    if answer.isError():
        raise ModbusException(str(answer))
    found = zip(READ, map(signed, answer.registers), strict=True)
    return {name: number for name, number in found if number != NO_VALUE}


def connect(args: argparse.Namespace, advice: Advice) -> mqtt.Client:
    """A client that keeps connecting, and hears the advice after every connect."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, f"gateway-{args.topic.replace('/', '-')}")
    if args.username:
        client.username_pw_set(args.username, os.environ.get(args.password_env, ""))
    if args.ca_file:
        client.tls_set(args.ca_file)
    client.on_connect = lambda *_: client.subscribe(f"{args.topic}/set", qos=1)
    client.on_message = lambda _, __, message: advice.take(message.payload, message.retain)
    client.connect_async(args.broker, args.port, keepalive=15)
    client.loop_start()
    return client


def main() -> None:
    """Serve for ever: each second the advice goes down, every so often the readings go up."""
    parser = argparse.ArgumentParser(description="registers of a PLC to MQTT, and advice back")
    parser.add_argument("--plc", default="127.0.0.1:502", metavar="HOST:PORT")
    parser.add_argument("--broker", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=1883)
    parser.add_argument("--username", default="")
    parser.add_argument("--password-env", default="MQTT_PASSWORD")
    parser.add_argument("--ca-file", default="", help="turns TLS on")
    parser.add_argument("--topic", default="plc/2")
    parser.add_argument("--every", type=float, default=10.0, help="seconds between readings")
    parser.add_argument("--beat-timeout", type=float, default=60.0)
    args = parser.parse_args()
    host, _, port = args.plc.rpartition(":")
    plc = ModbusTcpClient(host, port=int(port), timeout=2)
    advice = Advice(args.beat_timeout)
    client = connect(args, advice)
    due, confirmed, life, shown = 0.0, 0, None, ""
    stopped = False
    while True:
        try:
            if not plc.connected and not plc.connect():
                raise ModbusException(f"no connection to {args.plc}")
            plc.write_registers(WRITE_TO, advice.registers(client.is_connected()))
            if time.monotonic() >= due and client.is_connected():
                due = time.monotonic() + args.every
                values = read(plc)
                number, before, life = values.pop("confirmed", 0), life, values.pop("life", None)
                stopped = life == before  # a PLC in stop may still show its last registers
                if not stopped:
                    readings = json.dumps({**values, "t": time.time()})
                    client.publish(f"{args.topic}/from/is", readings, qos=1)
                if number not in (0, confirmed):  # once, when somebody has pressed the button
                    client.publish(f"{args.topic}/from/confirmed", number, qos=1)
                confirmed = number
            state = "its program stands still (register 13)" if stopped else "connected"
        except (ModbusException, OSError) as error:
            state = " ".join(str(error).split())
            plc.close()
        broker = "connected" if client.is_connected() else "no connection"
        now = f"PLC {args.plc}: {state}; broker {args.broker}:{args.port}: {broker}"
        if now != shown:
            print(now, flush=True)
            shown = now
        time.sleep(1.0)


if __name__ == "__main__":
    main()
