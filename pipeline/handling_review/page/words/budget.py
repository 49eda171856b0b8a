"""Money in words: what the program has been worth, and what each proposal would have to do."""

from __future__ import annotations

import math

from handling_review.evidence.budget import BudgetEvidence, WorthEvidence
from handling_review.evidence.costs import NONE, OWN
from handling_review.evidence.purchases import Best, ProposalRow
from handling_review.evidence.stated import RULES
from handling_review.page.sentence import NOTHING, Sentence, counted, listed, say
from handling_review.page.words.answer import SHORT
from handling_review.page.words.rates import upper
from handling_review.visible import short

ASK = (
    "To see money here, state under [money] of the program file cost_low, cost_base and cost_high of one case (or give "
    "claim_cost in the injury log), wage_per_hour and hours_per_completion, each with its owner and day."
)
HANGS_ON = {
    "cases addressed": "cases that it addresses",
    "reduction": "share of them avoided",
    "cost of a case": "cost of a case",
}


def worth_sentence(found: BudgetEvidence) -> Sentence:
    """What the program has been worth, by shape: no figure, not established, a saving, or a loss."""
    worth, head = found.worth, found.worth.headline()
    if head is None:
        return say(f"What the program has been worth cannot be said: {worth.reason}.")
    avoided = say(
        "Cases avoided so far: about ", head.avoided.value, " (likely between ", head.avoided.lower, " and ",
        head.avoided.upper, f"), by the comparison “{SHORT[head.design]}”.",
    )  # fmt: skip
    other = worth.other()
    if other is not None:
        avoided = avoided + say(
            f"By “{SHORT[other.design]}”: about ", other.avoided.value, " (", other.avoided.lower, " to ",
            other.avoided.upper, "). The smaller figure is the one to plan with.",
        )  # fmt: skip
    if head.saving is None:
        return avoided + say(f"No money is put on them: {worth.reason}. {ASK}")
    if _is_loss(worth):
        return avoided + say(
            "There were more cases than without the program, not fewer: a loss of about ", head.saving.value,
            " (likely between ", head.saving.lower, " and ", head.saving.upper, ").",
        )  # fmt: skip
    if not worth.is_established and other is not None and other.saving is not None:
        return avoided + say(
            "Saving not established: the range of a comparison takes in no change. By the smaller figure the saving "
            "lies somewhere from ", head.saving.lower, " to ", head.saving.upper, ", by the other from ",
            other.saving.lower, " to ", other.saving.upper, ".",
        )  # fmt: skip
    if not worth.is_established:
        return avoided + say(
            "Saving not established: the range of a comparison takes in no change. The saving lies somewhere from ",
            head.saving.lower, " to ", head.saving.upper, ".",
        )  # fmt: skip
    return avoided + say(
        "At the cost of a case taken here that is a saving of about ", head.saving.value, " (likely between ",
        head.saving.lower, " and ", head.saving.upper, ").",
    )  # fmt: skip


def _is_loss(worth: WorthEvidence) -> bool:
    """Whether every comparison's range of cases avoided lies below nought."""
    return bool(worth.rows) and all((row.avoided.upper.value or 0) < 0 for row in worth.rows)


def net_sentence(found: BudgetEvidence) -> Sentence:
    """The saving against what the program cost."""
    spent, head = found.program_cost, found.worth.headline()
    if head is None or head.saving is None:
        return NOTHING
    if spent.total is None or head.net is None or head.share_positive is None:
        return say(f"What the program cost is not known: {spent.reason}. So the saving stands alone.")
    sentence = say("The program cost ", spent.total, " so far. ")
    if found.worth.is_established:
        sentence = Sentence((*sentence.parts, "Saving minus cost: about ", head.net.value, " (likely between ",
                             head.net.lower, " and ", head.net.upper, ")"))  # fmt: skip
    else:
        sentence = Sentence((*sentence.parts, "Saving minus cost lies somewhere from ", head.net.lower, " to ",
                             head.net.upper))  # fmt: skip
    sentence = Sentence((*sentence.parts, "; more than nothing in ", head.share_positive, " of made-up draws."))
    rest = found.worth.without_largest()
    if rest is not None and rest.net is not None:
        sentence = sentence + say(
            "Without the largest claim: ", rest.net.value, " (", rest.net.lower, " to ", rest.net.upper, ")."
        )
    return sentence


def cost_sentence(found: BudgetEvidence) -> Sentence:
    """Where the cost of a case comes from."""
    cost = found.cost
    if cost.kind == NONE:
        return NOTHING
    assert cost.base is not None
    assert cost.low is not None
    assert cost.high is not None
    if cost.kind == OWN:
        sentence = say(
            "Cost of a case: mean of ", cost.claims, " own claims of handling injuries, ", cost.base, " (likely "
            "between ",
            cost.low, " and ", cost.high, ").",
        )  # fmt: skip
        if cost.without_largest is not None and cost.largest is not None:
            sentence = sentence + say(
                "Without the largest (", cost.largest, ") the mean is ", cost.without_largest, "."
            )
        if cost.too_young.value:
            sentence = sentence + say(*counted(cost.too_young, "claim is", "claims are"), " too young and left out.")
        return sentence
    return say(
        "Cost of a case as stated: ", cost.base, " (low ", cost.low, ", high ", cost.high, ").",
    )  # fmt: skip


def terms_sentence(found: BudgetEvidence) -> Sentence:
    """The year and kind of the money, when it falls, whose figures they are."""
    year = f" of {found.year}" if found.year else ""
    kind = "Prices are of one year throughout, so the discount rates are real ones" if found.is_real else (
        "Prices are of the years in which they are paid, so the discount rates are nominal ones"
    )  # fmt: skip
    owner = ""
    if found.owner:
        owner = f" Figures answered for by: {found.owner}" + (f", {found.stated_on}." if found.stated_on else ".")
    return say(
        f"Money is {found.currency}{year}, to two figures. {kind}. Payments and savings fall at the end of each year, "
        f"purchases at the start of the first.{owner}"
    )


def insured_sentence(found: BudgetEvidence) -> Sentence:
    """Whose budget a saving falls into, and indirect costs."""
    insured = (
        "The facility bears its claims itself, so a saving stays with it."
        if found.insured == "self_insured"
        else "The facility pays a premium that follows its claims, so a saving comes back through it, about three "
        "years later and in part."
    )
    if not found.indirect_multiplier:
        return say(f"{insured} Only direct costs are counted.")
    return say(
        f"{insured} Indirect costs are counted at ",
        found.indirect,
        " times the direct ones, as the program file states. Such ratios go back to one study of construction in "
        "1981, so the result without them stands beside.",
    )


def no_proposal_sentence(found: BudgetEvidence) -> Sentence:
    """What to do where nothing is proposed."""
    if found.proposals:
        return NOTHING
    return say(
        "No purchase is proposed. State one a table under [[money.proposals]] of the program file, with what it costs, "
        "which share of the unit's handling injuries it could prevent, and who says so."
    )


def proposal_sentence(row: ProposalRow) -> Sentence:
    """One proposal: break-even first, then what it may avoid and what that comes to."""
    start = say(f"{row.stated.name} ({row.unit_name}): ", row.outlay, " now")
    if row.yearly_service.value:
        start = Sentence((*start.parts, " and ", row.yearly_service, " a year for service"))
    main = row.main()
    if main is None:
        needs = Sentence((
            *start.parts, "; spread over its life it must save ", row.yearly_cost_in_all, " a year to pay for itself.",
        ))  # fmt: skip
        return needs + _expected(row) + say(f"No more can be said: {row.reason}.")
    even = Sentence((
        *start.parts, "; it pays for itself if it avoids ", main.break_even, " cases a year over its life of ",
        *counted(row.life, "year", "years"), ".",
    ))  # fmt: skip
    npv = main.npv
    verdict = say(
        "By the figures stated its net present value is about ", npv.value, " (likely between ", npv.lower, " and ",
        npv.upper, "); it pays back within its life in ", main.pays_back, " of made-up draws.",
    )  # fmt: skip
    direct = NOTHING
    if row.direct_only is not None:
        direct = say("Counting direct costs only, ", row.direct_only, ".")
    return even + _expected(row) + verdict + direct + _payback(row)


def _expected(row: ProposalRow) -> Sentence:
    if row.addressed is None or row.avoided is None:
        return NOTHING
    return say(
        "Cases of the kind that it addresses: about ", row.addressed.value, " a year; expected to be avoided: ",
        row.avoided.value, " (likely between ", row.avoided.lower, " and ", row.avoided.upper, ").",
    )  # fmt: skip


def _payback(row: ProposalRow) -> Sentence:
    if row.payback is None or row.payback.value is None:
        return NOTHING
    if math.isinf(row.payback.value):
        return say("It does not pay back within its life by the base figures.")
    return say("Simple payback by the base figures: ", row.payback, " years.")


def best_sentence(found: BudgetEvidence, best: Best) -> Sentence:
    """Which proposals fit the budget best, by one measure."""
    names = {row.number: row.stated.name for row in found.proposals}
    by = "expected avoided cases" if best.by == "cases" else "net present value"
    if not best.chosen:
        return say("Within the budget of ", found.budget or "", f" no set of proposals gains anything by {by}.")
    chosen = listed(tuple(names[number] for number in best.chosen), 20)
    sentence = say(
        "Within the budget of ", found.budget or "", f", most by {by}: {chosen}, for ", best.outlay, ": ", best.total,
        " cases a year." if best.by == "cases" else ".",
    )  # fmt: skip
    if best.ties.value:
        sentence = sentence + say(*counted(best.ties, "other set is", "other sets are"), " as good.")
    return sentence


def doubt_sentence(found: BudgetEvidence) -> Sentence:
    """That the ranges of proposals overlap, so that the order is not settled."""
    if len([row for row in found.proposals if row.avoided is not None]) < 2:
        return NOTHING
    return say("The ranges of the proposals overlap widely where cases are few, so a small lead settles nothing.")


def worth_title(worth: WorthEvidence) -> str:
    """The finding as a heading; a saving is not called more than the cost unless the whole range is."""
    title, head = "What the program has been worth", worth.headline()
    if head is None or head.saving is None:
        return title
    if _is_loss(worth):
        return f"{title}: a loss"
    if not worth.is_established:
        return f"{title}: saving not established"
    if head.net is None or head.net.lower.value is None:
        return f"{title}: a saving"
    covers = head.net.lower.value > 0
    return f"{title}: {'more than it cost' if covers else 'a saving, not surely more than it cost'}"


DRAWS_NOTE = say(
    "Above nothing in: share of ", RULES.worth_draws, " draws in which the saving was larger than the cost of the "
    "program."
)  # fmt: skip


BREAK_EVEN_NOTE = say(
    "Break-even needs no claim of effect: so many cases a year must be avoided over the life of the purchase. Pays "
    "back "
    "in: share of ", RULES.money_draws, " draws in which it does so within its life.",
)  # fmt: skip


def levers_title(row: ProposalRow) -> Sentence:
    """What the answer for one proposal hangs on, as a title."""
    return say(f"{short(row.stated.name, 60)}: the answer hangs most on the {HANGS_ON[row.levers[0].name]}")


def levers_description(row: ProposalRow) -> Sentence:
    """The bars of one proposal for readers who do not see them."""
    return say(
        f"Three bars for {row.stated.name}, the longest on top: how the net present value moves when one assumption "
        "goes from its low figure (hollow end) to its high one (filled end), the others at their base. The upright "
        "line is nought, the dashed one the base. ",
        *(
            part
            for lever in row.levers
            for part in (f"{upper(HANGS_ON[lever.name])}: ", lever.at_low, " to ", lever.at_high, ". ")
        ),
    )


def worth_how(found: BudgetEvidence) -> tuple[Sentence, ...]:
    """What the worth rests on."""
    return (
        say(
            "Cases avoided are those that the rate without the program would have given on the same hours, minus those "
            "that happened. Where the leading comparison takes out what changed elsewhere, so does this. A program "
            "that made things worse gives a loss."
        ),
        terms_sentence(found),
        insured_sentence(found),
        say(
            "Handling injuries are counted once. Savings by days away, DART and all recordable cases are never added "
            "up, because they are the same cases."
        ),
    )


def proposals_how(found: BudgetEvidence) -> tuple[Sentence, ...]:
    """What the judgement of proposals rests on."""
    return (
        say(
            "Cases addressed: the unit's rate on its hours of the last four quarters, times the share that the "
            "proposal addresses. The rate is drawn towards that of all units, because a few cases say little. How many "
            "of these cases it avoids is the proposal's own figure, not a result of this review."
        ),
        say(
            "Each range comes from ", RULES.money_draws, " draws of the cases, the expected reduction (low, base, "
            "high) and the cost of a case. Within a budget every set of proposals is looked at.",
        ),
        terms_sentence(found),
    )  # fmt: skip
