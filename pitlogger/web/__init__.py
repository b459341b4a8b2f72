"""The page and the API: FastAPI on uvicorn, inside the daemon's loop."""
