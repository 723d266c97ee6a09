"""The six roles, each thin over a Session; Session is the only place that knows pyvisa."""
