"""A few sentences on each page: what it is for, what follows from what is done there.

They are shown folded at the end of the page. Names of pages are those of the URLs; a
test opens every page and fails for one without a text.
"""

from django.utils.translation import gettext_lazy

_NOTE = gettext_lazy(
    "A note for whoever meets this fault again on this model or board. Write what the"
    " next person should know; notes are shown on the job page."
)
TEXTS = {
    "today": gettext_lazy(
        "Jobs are grouped by what is to be done next, the most urgent first: those past"
        " their due date, then those that can be started, tested or closed, then those"
        " that wait for somebody. Each row names its next step and leads to it. What"
        " else needs your attention stands above them."
    ),
    "find": gettext_lazy(
        "One box finds everything: job and document numbers, names, phone numbers,"
        " serial numbers, parts by number or value, deliveries, faults and fixes. Part"
        " of a word or number is enough. A scanned label opens its job at once."
    ),
    "intake:book_in": gettext_lazy(
        "Choose a known customer and device by typing, or enter new ones; only what is"
        " new is asked for. Record the complaint in the customer’s words and when it"
        " occurs, then try it: how often it failed decides later how often it must"
        " work. A device that was here before is linked to its earlier repair at the"
        " bench, after the fault is verified."
    ),
    "intake:booked": gettext_lazy(
        "The claim slip is for the customer and names what was handed in; the label"
        " goes on the device. Both can be printed again from here. An access code is"
        " stored encrypted and shown once; to see it again needs a reason."
    ),
    "intake:record_arrival": gettext_lazy(
        "The device of an announced job has arrived: record its condition and what came"
        " with it. The job is then booked in."
    ),
    "intake:show_code": gettext_lazy(
        "Access codes are stored encrypted and deleted when the device leaves. Each"
        " time one is shown, the audit trail records who saw it and why."
    ),
    "customers:all": gettext_lazy(
        "Search by name, company, phone number or email. A customer who is here twice"
        " can be merged from the page of either record."
    ),
    "customers:customer": gettext_lazy(
        "All devices, jobs and documents of one customer. Personal data leads to the"
        " export, to erasure and to merging with another record."
    ),
    "customers:change": gettext_lazy(
        "Changes apply to new documents; those already issued keep what they say. If"
        " somebody else changed the record meanwhile, both values are shown and nothing"
        " is lost."
    ),
    "customers:models": gettext_lazy(
        "Models of the devices that were here. Models of one family share what was"
        " learnt: a new model of a known family starts with its faults."
    ),
    "customers:change_model": gettext_lazy(
        "The family joins models that are built alike. The bench learns from the kind"
        " of device, then the family, then the model, so a family helps a model that"
        " was here a few times only."
    ),
    "customers:device": gettext_lazy(
        "Every visit of this device, with what was found and how long the warranty of"
        " each repair runs."
    ),
    "customers:change_device": gettext_lazy(
        "The board revision matters: readings and faults are compared with devices of"
        " the same revision where there are enough. A device that is out of use no"
        " longer counts as one that could have come back."
    ),
    "customers:new_owner": gettext_lazy(
        "The device keeps its history; earlier jobs and documents stay with the"
        " customer who had them."
    ),
    "bench:list": gettext_lazy(
        "Choose which jobs are shown: those at the bench, those that wait, all that are"
        " open. The list can be sorted by its headings and sent as a file."
    ),
    "bench:waiting": gettext_lazy(
        "Jobs that lack a part, with what is missing, whether it is ordered and since"
        " when they wait. When a delivery is received, the job is ready to go on."
    ),
    "bench:finished": gettext_lazy(
        "Jobs by the day on which they were closed, with outcome and technician."
    ),
    "bench": gettext_lazy(
        "The next step and its control are at the top. Sections that are done fold to a"
        " line; open them to look or to correct. “What we know” ranks the likely faults"
        " from past jobs and proposes the check that tells most per minute. A fault is"
        " fixed by a fix of the fault book, so that its comebacks can be counted. The"
        " final test asks for as many clean tries as the evidence needs. Closing"
        " records the cause and ends the work; handing over starts the warranty."
    ),
    "diagnosis:cases": gettext_lazy(
        "The past jobs that were counted beside the probability of this fault."
    ),
    "diagnosis:merge_faults": gettext_lazy(
        "If one fault was entered twice, merge the entries: jobs, fixes, symptoms and"
        " checks move to the one that stays, and so do their counts. The preview shows"
        " what will move before anything changes."
    ),
    "diagnosis:merge_fixes": gettext_lazy(
        "If one fix was entered twice, merge the entries: its jobs and faults move to"
        " the one that stays, and comebacks are counted together. The preview shows"
        " what will move before anything changes."
    ),
    "photos:for_job": gettext_lazy(
        "Add photos from this device, or from a phone by the code shown here: the link"
        " works for this job only and for a limited time. Photos are made anew from"
        " their pixels, so they hold no place or camera data."
    ),
    "photos:photo": gettext_lazy(
        "A caption says what the photo shows. A photo marked for the customer is also"
        " on the page of the customer’s link."
    ),
    "returns:assess": gettext_lazy(
        "Decide after the fault is verified, not at the counter. “Same fault” counts as"
        " a comeback of that repair and is covered by its warranty if it still runs; a"
        " new fault is quoted and charged, and gets its own warranty. A decision is"
        " never changed, a later one replaces it."
    ),
    "stock:parts": gettext_lazy(
        "In stock is what is there, reserved is promised to jobs with an accepted"
        " quote, free is what remains. A part at its reorder level is on the list of"
        " what to order."
    ),
    "stock": gettext_lazy(
        "Deliveries are used in the order in which they came, each at its own cost. A"
        " delivery whose repairs come back can be blocked: what remains of it is then"
        " set aside. Fixes that use the part are listed with their record."
    ),
    "stock:to_order": gettext_lazy(
        "Reorder levels follow from use and lead time, so that nineteen of twenty lead"
        " times are covered; the owner may fix a level. The list is by supplier and can"
        " be sent as a file. What is marked as ordered is not asked for again."
    ),
    "stock:labels": gettext_lazy(
        "Print labels with a code for the parts that you choose."
    ),
    "stock:add": gettext_lazy(
        "A part needs a number and a name. Price and reorder level can wait."
    ),
    "stock:change": gettext_lazy(
        "Without a price of its own a part is sold at its cost with the markup of the"
        " price list."
    ),
    "faults:book": gettext_lazy(
        "What breaks, how it shows and how it is fixed, by kind of device. Comebacks"
        " are counted for each pair of a fault and a fix, so use one entry for one"
        " cause. The book can be sent as a file and read again."
    ),
    "faults:starter": gettext_lazy(
        "Common faults by kind of device to begin with. Take what fits your shop and"
        " change it as you learn; entries that you have already are not replaced."
    ),
    "faults:file": gettext_lazy(
        "Send the fault book as CSV, or read one. Every row is checked before anything"
        " is written; a file with a mistake changes nothing."
    ),
    "faults:fault": gettext_lazy(
        "How often the fault was found and on which models, its symptoms and checks,"
        " and its fixes with their record. “What misled us” helps the next person."
    ),
    "faults:add": gettext_lazy(
        "One entry for one cause, at the level of the part that fails. Similar entries"
        " are shown before it is saved. The code can be left blank: it is made from"
        " area, part and failure."
    ),
    "faults:add_fix": gettext_lazy(
        "What is done about the fault, with its usual parts and minutes. The same fix"
        " can serve several faults; comebacks are counted for each pair."
    ),
    "faults:change": gettext_lazy(
        "A changed code also shows on past jobs. Retire a fault that is no longer used;"
        " its history stays."
    ),
    "faults:change_fix": gettext_lazy(
        "The type says what is expected of the fix: lasting or stopgap. What was"
        " measured is shown beside it wherever the fix is offered."
    ),
    "faults:symptoms": gettext_lazy(
        "Symptoms that can be ticked on a job. The diagnosis learns what they mean."
    ),
    "faults:add_symptom": gettext_lazy(
        "Describe what is seen, not what is suspected. Symptoms that are usual on such"
        " a job are offered first."
    ),
    "faults:change_symptom": gettext_lazy(
        "A new name also shows on past jobs. What was learnt from the symptom stays."
    ),
    "faults:add_check": gettext_lazy(
        "A check has a few results that can be told apart, and the minutes it takes."
        " Which faults it distinguishes is learnt from the jobs on which it was made."
    ),
    "faults:change_check": gettext_lazy(
        "Results that were recorded stay as they are. A retired check is no longer"
        " proposed."
    ),
    "faults:checks": gettext_lazy(
        "Bench checks with their results and minutes. The bench proposes the one that"
        " tells most about the likely faults for the time it takes."
    ),
    "comebacks:table": gettext_lazy(
        "Each row is a fault and its fix. The risk is the share of repairs that come"
        " back within the period, estimated from all repairs, also those not yet"
        " watched for the whole period; few repairs are drawn to the shop’s average."
        " The range holds the true risk in nine of ten cases. A verdict is given when"
        " the evidence is strong enough."
    ),
    "comebacks:repairs": gettext_lazy(
        "The repairs behind a figure of the table, one by one."
    ),
    "comebacks:comebacks": gettext_lazy(
        "Repairs that came back, with what doing them again cost."
    ),
    "month:month": gettext_lazy(
        "At most five recommendations open the page: what to change, what that is worth"
        " a month, and the button that does it. Below are the news since last month,"
        " the comebacks by month of handover, and what to put aside for those still to"
        " come."
    ),
    "month:deliveries": gettext_lazy(
        "Deliveries, models and boards whose repairs come back more often than their"
        " faults and fixes explain. One is named bad when chance is an unlikely"
        " explanation, given how many are compared."
    ),
    "month": gettext_lazy(
        "The repairs of one group or month, with what became of each."
    ),
    "knowledge:pair": gettext_lazy(
        "The record of one fix: how many repairs came back and when, what they cost,"
        " and how its price is made up. The owner can change its type here."
    ),
    "knowledge:add_note": _NOTE,
    "knowledge:change_note": _NOTE,
    "knowledge:fault_record": gettext_lazy(
        "The fixes of one fault compared by risk, minutes, price and profit per job"
        " after comebacks."
    ),
    "quotes:all": gettext_lazy(
        "All quotes with their state. A quote that is sent is never changed."
    ),
    "quotes:for_job": gettext_lazy(
        "A quote offers options; each price covers labour, parts and the expected cost"
        " of its comebacks. Prices can be changed before it is sent, with a reason. A"
        " new version replaces one that was sent."
    ),
    "quotes:quote": gettext_lazy(
        "The customer answers by the link, by phone or here; who recorded it is kept."
        " An accepted quote reserves its parts."
    ),
    "changes:for_job": gettext_lazy(
        "Work beyond the accepted quote needs the customer’s consent: describe it, give"
        " its price, and record the answer. Until then it cannot be invoiced."
    ),
    "customer_links:for_job": gettext_lazy(
        "By the link the customer sees the state of the job and answers the quote. It"
        " can be revoked at any time. What was sent cannot be shown again, only"
        " replaced by a new link."
    ),
    "repair_form": gettext_lazy(
        "The European repair information form: conditions that stay open for the time"
        " stated on it. Once issued it is not changed. Check your local rules."
    ),
    "invoices:all": gettext_lazy(
        "Invoices and credit notes with what is still due. Numbers have no gaps; an"
        " invoice is corrected by a credit note, never changed."
    ),
    "invoices:invoice": gettext_lazy(
        "Record payments and refunds here. A mistake on an invoice is corrected by a"
        " credit note for all or part of it."
    ),
    "invoices:credit": gettext_lazy(
        "Choose what is credited, and why. The rest of the invoice stays due."
    ),
    "invoices:for_job": gettext_lazy(
        "A deposit gets a receipt and is deducted from the invoice. If the job comes to"
        " nothing, refund it here."
    ),
    "invoices:create": gettext_lazy(
        "An invoice is usually issued when the device is handed over. Here it can be"
        " issued for a job by itself, for example after a credit note."
    ),
    "reminders:outstanding": gettext_lazy(
        "Invoices that are not paid, the oldest first. A reminder can be sent when its"
        " day has come; fees are only charged if the settings allow them."
    ),
    "reminders": gettext_lazy(
        "A reminder is stored as it was sent. The fee, if there is one, is added to"
        " what is due and can be waived."
    ),
    "day_close:days": gettext_lazy(
        "Count the money and close the day. The difference to what was recorded is kept"
        " with the reason. A closed day cannot be changed; what is recorded later"
        " belongs to the next one."
    ),
    "day_close:day": gettext_lazy(
        "What was taken and counted on one day. It cannot be changed."
    ),
    "day_close:accounts": gettext_lazy(
        "A workbook for the accountant: sales by tax rate, payments by means, deposits"
        " and closed days of a period, with totals that agree."
    ),
    "handover:hand_over": gettext_lazy(
        "Check who collects the device, hand it over and issue the invoice. The"
        " warranty of each repair starts today."
    ),
    "personal_data:due": gettext_lazy(
        "What the coming night deletes by the deadlines in Shop settings."
    ),
    "personal_data:overview": gettext_lazy(
        "Export all that is stored about a customer, or erase it. A preview says what"
        " goes and what must stay; counts and comebacks do not change."
    ),
    "personal_data:merge_customers": gettext_lazy(
        "Devices, jobs and documents move to the record that stays. The preview lists"
        " them; it cannot be undone."
    ),
    "personal_data:merge_devices": gettext_lazy(
        "The visits of both records become those of one device. It cannot be undone."
    ),
    "personal_data:erase": gettext_lazy(
        "Names and contacts are removed from everywhere but from documents that must be"
        " kept. It cannot be undone, and a restored backup is erased again."
    ),
    "sheet_import": gettext_lazy(
        "A list of past jobs is read in steps: columns, values, faults, fixes, preview."
        " Each step can be left and taken up again. Nothing is written before you"
        " confirm the preview; then everything is written or nothing. The answers are"
        " remembered for the next file with the same columns."
    ),
    "sheet_import:uncoded": gettext_lazy(
        "Past jobs without a fault of the fault book count in no statistics. Give many"
        " of them a fault and a fix at once."
    ),
    "sheet_import:result": gettext_lazy(
        "What was imported. It can be undone until something was built on it, such as a"
        " return of one of these jobs."
    ),
    "mail": gettext_lazy(
        "Emails are written with what they report and sent soon after. One that could"
        " not be sent is tried again, then waits here for you to resend or discard."
    ),
    "staff:people": gettext_lazy(
        "Each person has a name to sign in with and one role: counter, bench or owner."
        " Somebody who leaves is deactivated; what they did keeps their name."
    ),
    "staff:add": gettext_lazy(
        "The first password is shown once. It must be changed at the first sign-in."
    ),
    "staff:person": gettext_lazy(
        "Change role or name, end the person’s sessions, or set a new first password."
    ),
    "staff:password": gettext_lazy(
        "Use a long phrase. The most common passwords are refused. Other signed-in"
        " devices are signed out."
    ),
    "staff:second_factor": gettext_lazy(
        "A code from an app on your phone is asked for beside the password. Keep the"
        " recovery codes where you find them without the phone."
    ),
    "staff:language": gettext_lazy(
        "The language of your own pages. What customers get, such as quotes and"
        " invoices, is written in the language of the shop settings."
    ),
    "staff:devices": gettext_lazy(
        "Where you are signed in. End a session that is not yours."
    ),
    "shop:settings": gettext_lazy(
        "Settings apply from now on; documents already issued stay as they are. Figures"
        " of law are yours to check: local rules differ. Examples beside a setting show"
        " what it does."
    ),
    "shop:set_up": gettext_lazy(
        "The country suggests currency, formats and names of taxes; nothing about tax"
        " and prices is assumed. No quote or invoice can be issued before this page is"
        " complete."
    ),
    "trail": gettext_lazy(
        "Who changed what and when, with the old and the new value. Entries are linked"
        " by hashes, so that a later change of one would be found by `verify_trail`."
    ),
    "api_tokens": gettext_lazy(
        "A token lets a script of your own read the shop’s data, and nothing else. It"
        " is shown once. Give each script its own, so that one can be revoked."
    ),
    "open_data:export": gettext_lazy(
        "Finished jobs in the open format in which repair data are shared, without"
        " personal data."
    ),
}
"""By the name of a page, or of all pages of a room."""


def how_it_works(name: str) -> str:
    """Return the text for the page of this name; empty if it needs none."""
    return TEXTS.get(name) or TEXTS.get(name.partition(":")[0], "")
