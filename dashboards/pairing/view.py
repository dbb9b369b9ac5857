"""The pairing page: invite, pair, list, forget."""

from flask import Blueprint

blueprint = Blueprint("pairing", __name__, url_prefix="/pairing")
