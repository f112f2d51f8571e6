"""A Modbus server made of Debian's libmodbus, run as a program of its own: libmodbus_server.py rtu DEVICE | tcp.

Serves, as unit 7: input registers 288..329 holding 1000 + address, holding registers 96..99 holding address, coils 0..19
and discrete inputs 16..23 as BITS says. Prints `ready PORT` once it listens.
"""

import ctypes
import socket
import sys

UNIT = 7
BITS = [1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1, 0]
REQUEST_BYTES_MAX = 260


class Mapping(ctypes.Structure):
    """`modbus_mapping_t` of libmodbus 3.1."""

    _fields_ = [
        *[(name, ctypes.c_int) for name in ("nb_bits", "start_bits", "nb_input_bits", "start_input_bits")],
        *[
            (name, ctypes.c_int)
            for name in ("nb_input_registers", "start_input_registers", "nb_registers", "start_registers")
        ],
        ("tab_bits", ctypes.POINTER(ctypes.c_uint8)),
        ("tab_input_bits", ctypes.POINTER(ctypes.c_uint8)),
        ("tab_input_registers", ctypes.POINTER(ctypes.c_uint16)),
        ("tab_registers", ctypes.POINTER(ctypes.c_uint16)),
    ]


def _library():
    lib = ctypes.CDLL("libmodbus.so.5")
    lib.modbus_new_rtu.restype = lib.modbus_new_tcp.restype = ctypes.c_void_p
    lib.modbus_new_rtu.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.c_char, ctypes.c_int, ctypes.c_int]
    lib.modbus_new_tcp.argtypes = [ctypes.c_char_p, ctypes.c_int]
    lib.modbus_mapping_new_start_address.restype = ctypes.POINTER(Mapping)
    lib.modbus_mapping_new_start_address.argtypes = [ctypes.c_uint] * 8
    lib.modbus_set_slave.argtypes = [ctypes.c_void_p, ctypes.c_int]
    lib.modbus_set_response_timeout.argtypes = [ctypes.c_void_p, ctypes.c_uint32, ctypes.c_uint32]
    lib.modbus_connect.argtypes = lib.modbus_close.argtypes = [ctypes.c_void_p]
    lib.modbus_set_socket.argtypes = [ctypes.c_void_p, ctypes.c_int]
    lib.modbus_receive.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_uint8)]
    lib.modbus_reply.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_uint8), ctypes.c_int, ctypes.POINTER(Mapping)]
    return lib


def _mapping(lib):
    mapping = lib.modbus_mapping_new_start_address(0, 20, 16, 8, 96, 4, 288, 42)
    for place in range(20):
        mapping.contents.tab_bits[place] = BITS[place]
    for place in range(8):
        mapping.contents.tab_input_bits[place] = BITS[place]
    for place in range(42):
        mapping.contents.tab_input_registers[place] = 1288 + place
    for place in range(4):
        mapping.contents.tab_registers[place] = 96 + place
    return mapping


def main(how: str, device: str = "") -> None:
    """Serve until killed."""
    lib = _library()
    mapping, listener, port = _mapping(lib), None, 0
    if how == "rtu":
        context = lib.modbus_new_rtu(device.encode(), 19200, b"N", 8, 1)
    else:
        listener = socket.create_server(("127.0.0.1", 0))
        port = listener.getsockname()[1]
        context = lib.modbus_new_tcp(b"127.0.0.1", port)
    lib.modbus_set_slave(context, UNIT)
    lib.modbus_set_response_timeout(context, 0, 10_000)  # its pause before a refusal, half a second otherwise
    if how == "rtu" and lib.modbus_connect(context) != 0:
        sys.exit("libmodbus cannot open the port")
    print("ready", port, flush=True)
    request = (ctypes.c_uint8 * REQUEST_BYTES_MAX)()
    connection = None
    while True:
        if listener is not None and connection is None:
            connection, _ = listener.accept()
            lib.modbus_set_socket(context, connection.fileno())
        length = lib.modbus_receive(context, request)
        if length > 0:
            lib.modbus_reply(context, request, length, mapping)
        elif length < 0 and connection is not None:
            connection.close()
            connection = None


main(*sys.argv[1:])
