"""The same work on many things: by processes here, or by a Dask cluster. Results come in the order of the things."""
