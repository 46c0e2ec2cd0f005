from shopdesk.look import tables


class EmailTable(tables.ListTable):
    caption = "Emails"

    subject = tables.WordsColumn(linkify=True)
    to = tables.Column()
    attachment_count = tables.Column(verbose_name="Attachments")
    written_at = tables.MomentColumn(verbose_name="Created")
    status = tables.BadgeColumn(orderable=False)
    last_error = tables.Column(verbose_name="Last error", orderable=False)

    class Meta(tables.ListTable.Meta):
        empty_text = "No emails found."
