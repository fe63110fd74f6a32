from django.urls import path

from fleet.people import api, views

urlpatterns = [
    path("log-in/", views.LogIn.as_view(), name="log_in"),
    path("log-out/", views.LogOut.as_view(), name="log_out"),
    path("me/", views.own, name="own"),
    path("me/password/", views.own_password, name="own_password"),
    path("me/tokens/add/", views.add_token, name="add_token"),
    path("me/tokens/<int:token_id>/revoke/", views.revoke_token, name="revoke_token"),
    path("colleagues/", views.people, name="list"),
    path("colleagues/add/", views.add_person, name="add"),
    path("organisation/", views.organisation, name="organisation"),
    path("changes/", views.changes, name="changes"),
    path("colleagues/<int:person_id>/", views.person, name="person"),
    path("colleagues/<int:person_id>/password/", views.new_password, name="new_password"),
    path(
        "colleagues/<int:person_id>/tokens/<int:token_id>/revoke/",
        views.revoke_colleagues_token,
        name="revoke_colleagues_token",
    ),
]
api_urlpatterns = [
    path("me/", api.Me.as_view(), name="me"),
    path("me/tokens/", api.Tokens.as_view(), name="tokens"),
    path("me/tokens/<int:pk>/", api.RevokeToken.as_view(), name="revoke_token"),
    path("organisation/", api.OurOrganisation.as_view(), name="organisation"),
    path("changes/", api.Changes.as_view(), name="changes"),
    path("people/", api.People.as_view(), name="people"),
    path("people/<int:pk>/", api.OnePerson.as_view(), name="person"),
    path("people/<int:pk>/password/", api.NewPassword.as_view(), name="new_password"),
    path("people/<int:pk>/tokens/", api.ColleaguesTokens.as_view(), name="colleagues_tokens"),
    path("people/<int:pk>/tokens/<int:token>/", api.RevokeColleaguesToken.as_view(), name="revoke_colleagues_token"),
]
