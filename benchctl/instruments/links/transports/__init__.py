"""What a link goes through: sockets, serial ports, USB, GPIB and network protocols. Loads pyvisa, which takes long."""
