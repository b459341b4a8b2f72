"""The way of a reading: adjust, vet, steady (scale) or trend (temperature), tag.

Pure steps over plain, serialisable state; ``pitlogger.engine`` runs them in order.
"""
