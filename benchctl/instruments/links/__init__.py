"""The ways to an instrument: sockets, network protocols, serial ports; and how messages go over them."""
