"""Hardware for the readers' tests: a Modbus server of pymodbus' own on a thread, and sysfs trees."""

from __future__ import annotations

import asyncio
import struct
import threading
from pathlib import Path

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from monitor.site import Sensor
from tests.system.parts import free_port, listens, wait_for

AIR_TEMPERATURE, AIR_HUMIDITY, WALL_TEMPERATURE, CARBON_DIOXIDE = 0, 1, 10, 20


def words(value: float, form: str = ">f") -> list[int]:
    """A number as 16-bit registers, high word first."""
    packed = struct.pack(form, value)
    return [int.from_bytes(packed[n : n + 2], "big") for n in range(0, len(packed), 2)]


class Transmitter:
    """A Modbus TCP server with one device, number 7: air temperature in tenths, humidity in hundredths, a wall
    temperature as float32 with its low word first, carbon dioxide as uint32."""

    def __init__(self, temperature_tenths: int = 118) -> None:
        self.port = free_port()
        self._registers = [
            *([temperature_tenths & 0xFFFF, 8734] + [0] * 8),
            *(list(reversed(words(10.25))) + [0] * 8),
            *words(1450, ">I"),
        ]
        self.start()

    def start(self) -> None:
        """Serve, on the same port as before where it was stopped."""
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        wait_for(lambda: listens(self.port), what="the transmitter's port")

    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        device = SimDevice(7, simdata=[SimData(0, values=self._registers, datatype=DataType.REGISTERS)])
        self._loop.run_until_complete(self._run(device))

    async def _run(self, device: SimDevice) -> None:
        self._server = ModbusTcpServer(device, address=("127.0.0.1", self.port))
        await self._server.serve_forever()

    def stop(self) -> None:
        asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(10)
        self._thread.join(10)


def modbus_sensor(port: int, **registers: object) -> Sensor:
    """A sensor on device 7 of a transmitter."""
    reader = {"kind": "modbus", "host": "127.0.0.1", "port": port, "device": 7, "timeout_s": 1.0}
    return Sensor.model_validate(
        {"id": "duct", "room": "vault", "place": "low-rack", "reader": {**reader, "registers": registers}}
    )


def chip(folder: Path, **files: str) -> Path:
    """A sysfs folder with the files given, each ending in a newline as the kernel's do."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text + "\n", encoding="ascii")
    return folder


def kernel_sensor(
    path: str, quantities: tuple[str, ...] = ("temperature", "humidity"), **options: object
) -> Sensor:
    """A sensor read by the kernel at a path."""
    return Sensor.model_validate(
        {
            "id": "rack-1",
            "room": "vault",
            "place": "low-rack",
            "quantities": quantities,
            "reader": {"kind": "kernel", "path": path, **options},
        }
    )
