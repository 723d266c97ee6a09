"""Records of the amplifier at work: how fine, how long, their zero, and the noise that is not the amplifier's."""
