"""Numbers kept on disk: the folder of a run and the cache of what takes long to fit."""
