"""Transmitters on Modbus, over TCP or a serial line, through pymodbus.

Basis: MODBUS Application Protocol Specification V1.1b3 (functions 03 and 04); how a value lies in its registers is
told by the transmitter's own manual and stands in the site file.
"""

from __future__ import annotations

import math
import threading
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator
from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.framer import FramerType

from monitor.intake.units import conversion, units_of
from monitor.readers.base import Reader, away
from monitor.records import QUANTITIES
from monitor.site import Settings

RETRIES = 1


class Register(Settings):
    """Where a quantity lies: value = number * ``scale`` + ``offset``, in ``unit``.

    ``address`` counts from 0, as on the wire; a manual that counts from 30001 or 40001 means one less.  Numbers in
    ``no_value`` are what the transmitter sends when its probe is broken.
    """

    address: Annotated[int, Field(ge=0, le=65_535)]
    table: Literal["input", "holding"] = "input"
    type: Literal["int16", "uint16", "int32", "uint32", "float32", "float64"] = "int16"
    word_order: Literal["big", "little"] = "big"
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    no_value: tuple[float, ...] = ()


class ModbusReader(Reader):
    """A transmitter with a number of its own (``device``) on a TCP gateway or a serial line."""

    kind = "modbus"

    class Options(Settings):
        """``host`` and ``port`` for TCP, or ``serial`` (for example ``/dev/ttyUSB0``) with its line's settings."""

        host: Annotated[str, Field(max_length=253)] = ""
        port: Annotated[int, Field(ge=1, le=65_535)] = 502
        serial: Annotated[str, Field(max_length=200)] = ""
        baud: Annotated[int, Field(ge=300, le=921_600)] = 9600
        parity: Literal["N", "E", "O"] = "N"
        stop_bits: Literal[1, 2] = 1
        framing: Literal["tcp", "rtu"] = "tcp"
        device: Annotated[int, Field(ge=0, le=247)] = 1
        timeout_s: Annotated[float, Field(gt=0, le=30)] = 2.0
        registers: dict[str, Register]

        @model_validator(mode="after")
        def _one_line(self) -> ModbusReader.Options:
            if bool(self.host) == bool(self.serial):
                raise ValueError("give either host (TCP) or serial (a line on this machine)")
            for quantity, register in self.registers.items():
                if quantity not in QUANTITIES:
                    raise ValueError(f"registers.{quantity}: choose from {', '.join(QUANTITIES)}")
                if conversion(quantity, register.unit) is None:
                    raise ValueError(f"registers.{quantity}.unit: choose from {units_of(quantity)}")
            return self

    def read(self) -> dict[str, float]:
        """The values in the transmitter's registers now; see `Reader.read`."""
        line = _line(self.options)
        found = {}
        with line.lock:
            for quantity, register in self.options.registers.items():
                value = self._value(line, quantity, register)
                if value is not None:
                    found[quantity] = value
        return found

    def _value(self, line: _Line, quantity: str, register: Register) -> float | None:
        kind = line.client.DATATYPE[register.type.upper()]
        ask = (
            line.client.read_input_registers
            if register.table == "input"
            else line.client.read_holding_registers
        )
        try:
            if not line.client.connected and not line.client.connect():
                raise away(
                    self.sensor, f"no connection to {line.name}", "look at its power, cable and address"
                )
            answer: Any = ask(register.address, count=kind.value[1], device_id=self.options.device)
        except (ModbusException, OSError) as error:
            line.client.close()
            raise away(
                self.sensor,
                f"device {self.options.device} on {line.name} does not answer ({_plain(error)})",
                "look at its power, its number on the line, and the line's settings",
            ) from error
        if answer.isError():
            raise away(
                self.sensor,
                f"device {self.options.device} on {line.name} refuses register {register.address} ({_plain(answer)})",
                "compare the register's address and table with the transmitter's manual",
            )
        plain: Any = line.client.convert_from_registers(
            answer.registers, kind, word_order=register.word_order
        )
        number = float(plain)
        if not math.isfinite(number) or number in register.no_value:
            return None
        convert = conversion(quantity, register.unit)
        assert convert is not None, "checked when the site file was read"
        return convert(number * register.scale + register.offset)

    def close(self) -> None:
        """Let go of the line, for all that share it."""
        _line(self.options).client.close()


class _Line:
    """One connection or serial line; everyone on it waits for their turn."""

    def __init__(self, options: Any) -> None:
        self.lock = threading.Lock()
        self.name = options.serial or f"{options.host}:{options.port}"
        self.client: ModbusSerialClient | ModbusTcpClient
        if options.serial:
            self.client = ModbusSerialClient(
                options.serial,
                baudrate=options.baud,
                parity=options.parity,
                stopbits=options.stop_bits,
                timeout=options.timeout_s,
                retries=RETRIES,
            )
        else:
            framer = FramerType.SOCKET if options.framing == "tcp" else FramerType.RTU
            self.client = ModbusTcpClient(
                options.host,
                port=options.port,
                framer=framer,
                timeout=options.timeout_s,
                retries=RETRIES,
            )


_lines: dict[tuple[str, int, str], _Line] = {}
_lines_lock = threading.Lock()


def _line(options: Any) -> _Line:
    key = (options.host, options.port, options.serial)
    with _lines_lock:
        if key not in _lines:
            _lines[key] = _Line(options)
        return _lines[key]


def _plain(answer: object) -> str:
    return " ".join(str(answer).split())[:120]
