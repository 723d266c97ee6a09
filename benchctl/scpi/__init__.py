"""Sans-IO SCPI-99 and IEEE 488.2: messages, headers, numbers, blocks, errors, status. No sockets, no clock."""
