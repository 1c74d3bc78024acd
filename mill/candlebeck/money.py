"""Candlebeck's money: what it pays for yarn, and what its hours and finishing steps cost. All of it is made up."""

from decimal import Decimal

from simple_history.utils import bulk_create_with_history

from inventory.models import Delivery, Yarn, YarnLot
from mill.candlebeck import names
from mill.candlebeck.story import Story
from planning.models import Rate, YarnPrice

# Rates of the mill's first day, and those that have changed since: (kind, of, basis, amount).
FIRST_DAY_AGO, RAISED_AGO = 420, 75
PENNY = Decimal("0.01")


def write_rates(story: Story) -> None:
    rates = [
        Rate(kind=kind, of=of, basis=basis, amount=Decimal(amount), from_on=story.ago(ago))
        for ago, rows in ((FIRST_DAY_AGO, names.RATES), (RAISED_AGO, names.RAISED_RATES))
        for kind, of, basis, amount in rows
    ]
    bulk_create_with_history(rates, Rate, default_user=story.by)


def write_prices(story: Story) -> None:
    """The list's price of each yarn; what some deliveries were invoiced at, and a few lots bought by themselves."""
    dice = story.dice("prices")
    listed = {
        yarn.pk: Decimal(names.PRICES_PER_KG[yarn.code.partition("-")[0]]) for yarn in Yarn.objects.order_by("code")
    }
    from_on = story.ago(FIRST_DAY_AGO)
    prices = [YarnPrice(yarn_id=pk, per_kg=per_kg, from_on=from_on) for pk, per_kg in listed.items()]

    def paid(yarn_id: int) -> Decimal:
        return (listed[yarn_id] * (100 + dice.randint(-6, 9)) / 100).quantize(PENNY)

    for delivery in Delivery.objects.order_by("number"):
        if dice.random() < 0.6:
            row = YarnPrice(yarn_id=delivery.yarn_id, delivery=delivery, per_kg=paid(delivery.yarn_id))
            row.from_on = delivery.ordered_on or delivery.expected_on
            prices.append(row)
    for lot in YarnLot.objects.filter(delivery=None).order_by("label"):
        if dice.random() < 0.1:
            prices.append(YarnPrice(yarn_id=lot.yarn_id, lot=lot, per_kg=paid(lot.yarn_id), from_on=lot.received_on))
    bulk_create_with_history(prices, YarnPrice, batch_size=500, default_user=story.by)
