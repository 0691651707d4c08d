"""One module a page: each draws documents of `monitor` and hands entries back to it."""
