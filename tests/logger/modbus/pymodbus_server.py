"""A Modbus server made of pymodbus, run as a program of its own: pymodbus_server.py rtu DEVICE | tcp PORT.

Serves, as unit 7, registers 0..199 of both tables: holding 1000 + address, input 2000 + address; coils and discrete inputs
are set where the address is a multiple of 3.
"""

import sys

from pymodbus.server import StartSerialServer, StartTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice


def main(how: str, where: str) -> None:
    """Serve until killed."""
    bits = [address % 3 == 0 for address in range(160)]
    device = SimDevice(
        id=7,
        simdata=(
            [SimData(0, values=bits, datatype=DataType.BITS)],
            [SimData(0, values=bits, datatype=DataType.BITS)],
            [SimData(0, values=[1000 + address for address in range(200)], datatype=DataType.REGISTERS)],
            [SimData(0, values=[2000 + address for address in range(200)], datatype=DataType.REGISTERS)],
        ),
    )
    if how == "tcp":
        StartTcpServer(device, address=("127.0.0.1", int(where)))
    else:
        StartSerialServer(device, port=where, baudrate=19200)


main(*sys.argv[1:])
