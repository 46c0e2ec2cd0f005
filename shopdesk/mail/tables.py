from django.utils.translation import gettext_lazy

from shopdesk.look import tables


class EmailTable(tables.ListTable):
    caption = gettext_lazy("Emails")

    subject = tables.WordsColumn(linkify=True)
    to = tables.Column(verbose_name=gettext_lazy("To"))
    attachment_count = tables.Column(verbose_name=gettext_lazy("Attachments"))
    written_at = tables.MomentColumn(verbose_name=gettext_lazy("Created"))
    status = tables.BadgeColumn(orderable=False)
    last_error = tables.Column(verbose_name=gettext_lazy("Last error"), orderable=False)

    class Meta(tables.ListTable.Meta):
        empty_text = gettext_lazy("No emails found.")
