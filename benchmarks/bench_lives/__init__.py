"""Lives of benches: one short check over months, on benches that stay sound and on some whose clamp ages."""
