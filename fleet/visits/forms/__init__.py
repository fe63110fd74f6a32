"""What people type about calls, visits and procedures."""

from fleet.visits.forms.entering import EnterForm
from fleet.visits.forms.planning import (
    AssignForm,
    BaseForm,
    CallForm,
    CancelForm,
    KmForm,
    ProposeForm,
    VisitFilter,
)
from fleet.visits.forms.record import (
    CloseForm,
    FindingFilter,
    FindingForm,
    LeaveForm,
    PartForm,
    ProcedureForm,
    RuleForm,
    TakeBackForm,
)

__all__ = [
    "AssignForm", "BaseForm", "CallForm", "CancelForm", "CloseForm", "EnterForm", "FindingFilter", "FindingForm",
    "KmForm", "LeaveForm", "PartForm", "ProcedureForm", "ProposeForm", "RuleForm", "TakeBackForm", "VisitFilter",
]  # fmt: skip
