"""Run folders with one thing changed: it is noticed, or it does no harm, and nobody meets a traceback or waits."""
