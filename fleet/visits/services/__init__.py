"""What may be done with calls, visits, trips and findings; the only code that writes them."""

from fleet.visits.services.calls import advice, close_call, is_danger, solve_by_phone, take_call, visit_for_call
from fleet.visits.services.closing import after_test_of, close, leave_open, open_steps
from fleet.visits.services.downward import teach
from fleet.visits.services.entering import enter_in_register, owed
from fleet.visits.services.field_applying import put_together
from fleet.visits.services.field_bundle import bundle
from fleet.visits.services.field_devices import register
from fleet.visits.services.field_intake import device_of, keep_chunk, places_of, receive, receive_later
from fleet.visits.services.field_kept import kept_cards, warm_cards
from fleet.visits.services.field_reading import in_words, lines_of, readable, spot_in_words
from fleet.visits.services.field_settling import let_in, not_home, picture_of, settle, settle_move, shut_out, sides
from fleet.visits.services.known import known_of
from fleet.visits.services.logging import (
    add_finding,
    check_may_log,
    current_records,
    leave,
    log_spot_test,
    record_step,
    start,
    step_of,
    take_back_finding,
    use_part,
)  # fmt: skip
from fleet.visits.services.paper_in import type_in
from fleet.visits.services.photos import keep_photo, photo_bytes, small_photo
from fleet.visits.services.planning import (
    assign,
    assign_many,
    cancel,
    for_shortfall,
    propose,
    propose_for_shortfall,
    take_back,
)
from fleet.visits.services.rules import change_rule, next_inspection_on, propose_due
from fleet.visits.services.setting_up import bring_back, change_procedure, procedure_for, set_up
from fleet.visits.services.trips import (
    add_base,
    best_order,
    distance_km,
    drive_minutes,
    likely_causes,
    move_in_trip,
    nearby,
    note_trip,
    parts_for,
    plan_order,
    road_km,
)  # fmt: skip

__all__ = [
    "bundle", "device_of", "keep_chunk", "let_in", "not_home", "picture_of", "places_of", "put_together", "receive",
    "receive_later", "register",
    "in_words", "lines_of", "readable", "spot_in_words", "settle", "settle_move", "shut_out", "sides", "small_photo",
    "add_base", "add_finding", "advice", "after_test_of", "assign", "assign_many", "best_order", "bring_back",
    "cancel", "change_procedure", "change_rule", "check_may_log", "close", "close_call", "current_records",
    "enter_in_register", "owed",
    "distance_km", "drive_minutes", "for_shortfall", "is_danger", "keep_photo", "known_of", "leave", "leave_open",
    "likely_causes",
    "log_spot_test", "move_in_trip", "nearby", "next_inspection_on", "note_trip", "open_steps", "parts_for",
    "photo_bytes", "plan_order", "procedure_for", "propose", "propose_due", "propose_for_shortfall", "record_step",
    "road_km", "set_up", "solve_by_phone", "start", "step_of", "take_back", "take_back_finding", "take_call", "teach",
    "type_in",
    "use_part", "visit_for_call", "kept_cards", "warm_cards",
]  # fmt: skip
