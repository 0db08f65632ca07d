"""Getting to know gauges and looking after them, over years."""
