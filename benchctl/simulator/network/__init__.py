"""How clients reach the instruments: sockets on loopback, HiSLIP ports, multicast DNS."""
