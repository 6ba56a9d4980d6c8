"""The board of openings: kilns down, days across."""

from maintenance.board.record import build_board
from maintenance.board.scale import USUAL_DAYS, ZOOMS
from maintenance.board.words import barred_jobs, lead_sentence, rank_orders, safety_shouts, unplaced
