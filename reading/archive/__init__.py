"""An archive of photos: read on all cores, resumed after any stop, looked after and audited."""
