"""Pictures whose axis is the calendar: control charts, and figures of one unit from run to run."""
