"""Where many fits run side by side: processes of this machine, or a Dask cluster."""
